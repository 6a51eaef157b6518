"""API of parts and pieces: read-only views, and one POST route per action."""

from __future__ import annotations

from typing import Any

from django.urls import path
from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView

import instruments.actions  # noqa: F401 - enters its actions
from instruments.models import Mark, Part, Piece
from journal.api import LineOutput, action_routes


class PartOutput(serializers.ModelSerializer[Part]):
    """A part of the catalogue."""

    size = serializers.CharField(source="size.label", default=None)
    series = serializers.CharField(source="size.series.code", default=None)

    class Meta:
        model = Part
        fields = [
            "code",
            "name",
            "kind",
            "series",
            "size",
            "mass_g",
            "single_use",
            "life_limit",
            "service_days",
            "function_test",
            "insulated",
            "take_apart",
        ]
        read_only_fields = fields


class MarkOutput(serializers.ModelSerializer[Mark]):
    """A mark on a piece."""

    class Meta:
        model = Mark
        fields = ["text", "scheme", "current"]
        read_only_fields = fields


class PieceOutput(serializers.ModelSerializer[Piece]):
    """A piece with its marks."""

    part = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    place = serializers.CharField(source="place.code", default=None)
    marks = MarkOutput(many=True)

    class Meta:
        model = Piece
        fields = [
            "code",
            "part",
            "name",
            "state",
            "place",
            "serial",
            "lot",
            "expires",
            "cycles",
            "service_due",
            "function_ok",
            "insulation_ok",
            "marks",
        ]
        read_only_fields = fields


class PieceDetail(PieceOutput):
    """A piece with its trail."""

    lines = LineOutput(many=True)

    class Meta(PieceOutput.Meta):
        fields = [*PieceOutput.Meta.fields, "lines"]
        read_only_fields = fields


class Parts(ListAPIView[Part]):
    """Every part; `?kind=` for one kind."""

    serializer_class = PartOutput

    def get_queryset(self) -> Any:
        """All, or of one kind."""
        kind = self.request.query_params.get("kind")
        rows = Part.objects.select_related("size__series")
        return rows.filter(kind=kind) if kind else rows


class Pieces(ListAPIView[Piece]):
    """Every piece; `?state=` and `?part=` narrow."""

    serializer_class = PieceOutput

    def get_queryset(self) -> Any:
        """All, or of a state or a part."""
        wanted = self.request.query_params
        rows = Piece.objects.select_related("part", "place").prefetch_related("marks")
        if "state" in wanted:
            rows = rows.filter(state=wanted["state"])
        return rows.filter(part__code=wanted["part"]) if "part" in wanted else rows


class OnePiece(RetrieveAPIView[Piece]):
    """A piece with its marks and its trail."""

    serializer_class = PieceDetail
    lookup_field = "code"
    queryset = Piece.objects.select_related("part", "place").prefetch_related("marks", "lines__person")


urlpatterns = [
    path("parts/", Parts.as_view(), name="api-parts"),
    path("pieces/", Pieces.as_view(), name="api-pieces"),
    path("pieces/<str:code>/", OnePiece.as_view(), name="api-piece"),
    *action_routes("instruments"),
]
