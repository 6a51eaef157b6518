"""API of machines and loads: read-only views, and one POST route per action."""

from __future__ import annotations

from typing import Any

from django.urls import path
from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView

import reprocessing.actions  # noqa: F401 - enters its actions
from journal.api import LineOutput, action_routes
from reprocessing.models import Indicator, Load, Machine, Release, Trace
from reprocessing.reads import load_evidence


class MachineOutput(serializers.ModelSerializer[Machine]):
    """A machine and the programmes it runs."""

    programmes = serializers.SlugRelatedField("code", many=True, read_only=True)  # type: ignore[var-annotated]

    class Meta:
        model = Machine
        fields = ["code", "name", "kind", "state", "capacity", "programmes"]
        read_only_fields = fields


class TraceOutput(serializers.ModelSerializer[Trace]):
    """A cycle's trace and its judgement."""

    class Meta:
        model = Trace
        fields = ["file_name", "sha256", "received_at", "judgement"]
        read_only_fields = fields


class IndicatorOutput(serializers.ModelSerializer[Indicator]):
    """An indicator of a load."""

    class Meta:
        model = Indicator
        fields = ["id", "kind", "lot", "result", "read_at"]
        read_only_fields = fields


class ReleaseOutput(serializers.ModelSerializer[Release]):
    """The signed decision on a load."""

    by = serializers.CharField()

    class Meta:
        model = Release
        fields = ["decision", "by", "at", "reason", "alone", "evidence"]
        read_only_fields = fields


class LoadOutput(serializers.ModelSerializer[Load]):
    """A load."""

    machine = serializers.CharField(source="machine.code")
    programme = serializers.CharField(source="programme.code")

    class Meta:
        model = Load
        fields = [
            "code",
            "machine",
            "programme",
            "kind",
            "state",
            "cycle_number",
            "built_at",
            "started_at",
            "ended_at",
        ]
        read_only_fields = fields


class LoadDetail(LoadOutput):
    """A load with its contents, evidence, decision and trail."""

    packs = serializers.SerializerMethodField()
    pieces = serializers.SerializerMethodField()
    checks = serializers.SerializerMethodField()
    traces = TraceOutput(many=True)
    indicators = IndicatorOutput(many=True)
    decision = ReleaseOutput(default=None)
    lines = LineOutput(many=True)

    class Meta(LoadOutput.Meta):
        fields = [
            *LoadOutput.Meta.fields,
            "packs",
            "pieces",
            "checks",
            "traces",
            "indicators",
            "decision",
            "lines",
        ]
        read_only_fields = fields

    def get_packs(self, load: Load) -> list[str]:
        """Codes of its packs."""
        return [row.pack.code for row in load.load_packs.all()]

    def get_pieces(self, load: Load) -> list[str]:
        """Codes of its pieces."""
        return [row.piece.code for row in load.load_pieces.all()]

    def get_checks(self, load: Load) -> list[dict[str, Any]]:
        """The evidence as a checklist."""
        return [check.as_dict() for check in load_evidence(load)]


class Machines(ListAPIView[Machine]):
    """Every machine."""

    serializer_class = MachineOutput
    queryset = Machine.objects.prefetch_related("programmes")


class Loads(ListAPIView[Load]):
    """Every load; `?state=` narrows."""

    serializer_class = LoadOutput

    def get_queryset(self) -> Any:
        """All, or of one state."""
        state = self.request.query_params.get("state")
        rows = Load.objects.select_related("machine", "programme")
        return rows.filter(state=state) if state else rows


class OneLoad(RetrieveAPIView[Load]):
    """A load with its contents, evidence and trail."""

    serializer_class = LoadDetail
    lookup_field = "code"
    queryset = Load.objects.select_related("machine", "programme", "decision__by").prefetch_related(
        "load_packs__pack", "load_pieces__piece", "traces", "indicators", "lines__person"
    )


urlpatterns = [
    path("machines/", Machines.as_view(), name="api-machines"),
    path("loads/", Loads.as_view(), name="api-loads"),
    path("loads/<str:code>/", OneLoad.as_view(), name="api-load"),
    *action_routes("reprocessing"),
]
