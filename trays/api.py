"""API of templates, trays and packs: read-only views, and one POST route per action."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.generics import ListAPIView, RetrieveAPIView
from rest_framework.request import Request
from rest_framework.response import Response

import trays.actions  # noqa: F401 - enters its actions
from journal.api import FindingOutput, LineOutput, action_routes
from trays.models import Content, Lack, Pack, Tray
from trays.reads import single_use_stock, tray_count


class TrayOutput(serializers.ModelSerializer[Tray]):
    """A tray."""

    template = serializers.CharField(source="template.code")
    home = serializers.CharField(source="home.code", default=None)

    class Meta:
        model = Tray
        fields = ["code", "name", "template", "home", "closed", "in_service"]
        read_only_fields = fields


class LineCountOutput(serializers.Serializer[Any]):
    """One line of a tray's list and what is there for it."""

    position = serializers.IntegerField(source="line.position")
    part = serializers.CharField(source="line.part_code")
    name = serializers.CharField(source="line.part_name")
    quantity = serializers.IntegerField(source="line.quantity")
    essential = serializers.BooleanField(source="line.essential")
    present = serializers.SerializerMethodField()

    def get_present(self, row: Any) -> list[str]:
        """Codes of the pieces counted for the line."""
        return [item.code for item in row.present]


class TrayCountOutput(serializers.Serializer[Any]):
    """A tray on the bench: its lines and what was found."""

    complete = serializers.BooleanField()
    rows = LineCountOutput(many=True)
    findings = serializers.SerializerMethodField()

    @extend_schema_field(FindingOutput(many=True))
    def get_findings(self, count: Any) -> list[dict[str, object]]:
        """What the rules found."""
        return [finding.as_dict() for finding in count.findings]


class ContentOutput(serializers.ModelSerializer[Content]):
    """A piece in a pack."""

    piece = serializers.CharField(source="piece.code")

    class Meta:
        model = Content
        fields = ["piece", "position", "part_code", "part_name"]
        read_only_fields = fields


class LackOutput(serializers.ModelSerializer[Lack]):
    """What an incomplete pack lacks."""

    class Meta:
        model = Lack
        fields = ["part_code", "part_name", "quantity"]
        read_only_fields = fields


class PackOutput(serializers.ModelSerializer[Pack]):
    """A pack."""

    tray = serializers.CharField(source="tray.code", default=None)
    place = serializers.CharField(source="place.code", default=None)

    class Meta:
        model = Pack
        fields = ["code", "kind", "name", "tray", "state", "place", "assembled_at", "use_by", "barrier_intact"]
        read_only_fields = fields


class PackDetail(PackOutput):
    """A pack with its frozen contents and its trail."""

    contents = ContentOutput(many=True)
    lacks = LackOutput(many=True)
    lines = LineOutput(many=True)

    class Meta(PackOutput.Meta):
        fields = [*PackOutput.Meta.fields, "incomplete_reason", "contents", "lacks", "lines"]
        read_only_fields = fields


class Trays(ListAPIView[Tray]):
    """Every tray."""

    serializer_class = TrayOutput
    queryset = Tray.objects.select_related("template", "home")


@extend_schema(responses=TrayCountOutput)
@api_view(["GET"])
def count(request: Request, code: str) -> Response:  # noqa: ARG001 - every view takes it
    """What lies on a tray, line by line, with everything the rules find."""
    tray = get_object_or_404(Tray.objects.select_related("template"), code=code)
    return Response(TrayCountOutput(tray_count(tray, at=timezone.now())).data)


class Packs(ListAPIView[Pack]):
    """Every pack; `?state=` narrows."""

    serializer_class = PackOutput

    def get_queryset(self) -> Any:
        """All, or of one state."""
        state = self.request.query_params.get("state")
        rows = Pack.objects.select_related("tray", "place")
        return rows.filter(state=state) if state else rows


class OnePack(RetrieveAPIView[Pack]):
    """A pack with its contents and its trail."""

    serializer_class = PackDetail
    lookup_field = "code"
    queryset = Pack.objects.select_related("tray", "place").prefetch_related(
        "contents__piece", "lacks", "lines__person"
    )


class ShelfLotOutput(serializers.Serializer[Any]):
    """A lot on the shelf."""

    lot = serializers.CharField(source="lot.lot")
    expires = serializers.DateField(source="lot.expires")
    count = serializers.IntegerField(source="lot.count")
    packs = serializers.ListField(child=serializers.CharField())


class StockOutput(serializers.Serializer[Any]):
    """A single-use part: its lots, its use in each week (the oldest first), and what is suggested."""

    part = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    lots = ShelfLotOutput(many=True)
    weeks = serializers.ListField(child=serializers.IntegerField())
    usable = serializers.IntegerField(source="forecast.usable")
    reorder_point = serializers.IntegerField(source="forecast.reorder_point", allow_null=True)
    order_up_to = serializers.IntegerField(source="forecast.order_up_to", allow_null=True)
    order = serializers.IntegerField(source="forecast.order")
    findings = serializers.SerializerMethodField()

    @extend_schema_field(FindingOutput(many=True))
    def get_findings(self, row: Any) -> list[dict[str, object]]:
        """What to look at."""
        return [finding.as_dict() for finding in row.forecast.findings]


@extend_schema(responses=StockOutput(many=True))
@api_view(["GET"])
def stock(request: Request) -> Response:  # noqa: ARG001 - every view takes it
    """Single-use items and implants on the shelf, by lot and expiry, with what to order."""
    return Response(StockOutput(single_use_stock(timezone.now()), many=True).data)


urlpatterns = [
    path("stock/", stock, name="api-stock"),
    path("trays/", Trays.as_view(), name="api-trays"),
    path("trays/<str:code>/count/", count, name="api-tray-count"),
    path("packs/", Packs.as_view(), name="api-packs"),
    path("packs/<str:code>/", OnePack.as_view(), name="api-pack"),
    *action_routes("trays"),
]
