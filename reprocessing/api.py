"""API of machines and loads: read-only views, and one POST route per action."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.generics import ListAPIView, RetrieveAPIView
from rest_framework.request import Request
from rest_framework.response import Response

import reprocessing.actions  # noqa: F401 - enters its actions
from journal.api import LineOutput, action_routes
from reprocessing.models import (
    Indicator,
    Load,
    Machine,
    MachineLot,
    PeriodicResult,
    PeriodicTest,
    ProteinCheck,
    Release,
    Trace,
)
from reprocessing.reads import load_evidence
from reprocessing.reads.curves import curves_as_dict, curves_of
from reprocessing.reads.supplies import lots_of_load
from reprocessing.trace_window import window_of


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


class LotOutput(serializers.ModelSerializer[MachineLot]):
    """A lot of a chemical on a machine."""

    class Meta:
        model = MachineLot
        fields = ["id", "product", "lot", "expires_on", "opened_on", "since", "until"]
        read_only_fields = fields


class PeriodicTestOutput(serializers.ModelSerializer[PeriodicTest]):
    """A periodic test that the unit asks for."""

    machine = serializers.CharField(source="machine.code", default=None)

    class Meta:
        model = PeriodicTest
        fields = [
            *("id", "kind", "machine", "about", "name", "every_days", "forbids_start", "unit", "least", "most"),
            *("source", "confirm_locally", "ended_at"),
        ]
        read_only_fields = fields


class PeriodicResultOutput(serializers.ModelSerializer[PeriodicResult]):
    """A result of a periodic test."""

    machine = serializers.CharField(source="machine.code")
    name = serializers.CharField(source="test.name")
    unit = serializers.CharField(source="test.unit")
    by = serializers.CharField()

    class Meta:
        model = PeriodicResult
        fields = [
            *("id", "test", "name", "machine", "passed", "value", "less_than", "unit", "taken_at", "reported_by"),
            *("note", "at", "by"),
        ]
        read_only_fields = fields


class ProteinCheckOutput(serializers.ModelSerializer[ProteinCheck]):
    """A check of residual protein on a piece."""

    piece = serializers.CharField(source="piece.code")
    load = serializers.CharField(source="load.code", default=None)
    by = serializers.CharField()

    class Meta:
        model = ProteinCheck
        fields = ["id", "piece", "load", "method", "ug_per_side", "limit_ug", "passed", "note", "at", "by"]
        read_only_fields = fields


class LoadDetail(LoadOutput):
    """A load with its contents, evidence, decision and trail."""

    packs = serializers.SerializerMethodField()
    pieces = serializers.SerializerMethodField()
    checks = serializers.SerializerMethodField()
    lots = serializers.SerializerMethodField()
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
            "lots",
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

    @extend_schema_field(LotOutput(many=True))
    def get_lots(self, load: Load) -> Any:
        """What its machine drew on while it ran."""
        return LotOutput(lots_of_load(load, timezone.now()), many=True).data


class StretchInput(serializers.Serializer[Any]):
    """Which stretch of a record is wanted, in seconds from its first reading; the whole of it when nothing is said."""

    from_s = serializers.FloatField(required=False)
    to_s = serializers.FloatField(required=False)


class CurveOutput(serializers.Serializer[Any]):
    """What one probe or gauge recorded, a value for each time."""

    name = serializers.CharField()
    unit = serializers.CharField()
    values = serializers.ListField(child=serializers.FloatField(allow_null=True))


class PhaseOutput(serializers.Serializer[Any]):
    """A phase that the record shows, in seconds from its first reading."""

    name = serializers.CharField()
    from_s = serializers.FloatField()
    to_s = serializers.FloatField()


class CurvesOutput(serializers.Serializer[Any]):
    """The readings of a stretch. Thinned, each sliver of time keeps its lowest and its highest."""

    lasts_s = serializers.FloatField()
    times_s = serializers.ListField(child=serializers.FloatField())
    columns = CurveOutput(many=True)
    thinned = serializers.BooleanField()
    band_c = serializers.ListField(child=serializers.FloatField())
    phases = PhaseOutput(many=True)


@extend_schema(parameters=[StretchInput], responses=CurvesOutput)
@api_view(["GET"])
def load_curves(request: Request, code: str) -> Response:
    """The readings of a load's latest record, or of a stretch of it."""
    load = get_object_or_404(Load.objects.select_related("programme"), code=code)
    asked = StretchInput(data=request.query_params)
    asked.is_valid(raise_exception=True)
    try:
        curves = curves_of(load, load.traces.first())
        if curves is None:
            raise NotFound(f"Load {code} has no record with curves. Give its trace first, if it is to have one.")
        return Response(curves_as_dict(curves, window_of(curves.trace, **asked.validated_data)))
    except ValueError as refusal:
        raise ValidationError({"detail": str(refusal)}) from refusal


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


class PeriodicTests(ListAPIView[PeriodicTest]):
    """Every periodic test, ended ones too."""

    serializer_class = PeriodicTestOutput
    queryset = PeriodicTest.objects.select_related("machine")


class PeriodicResults(ListAPIView[PeriodicResult]):
    """Every result of a periodic test; `?machine=` narrows."""

    serializer_class = PeriodicResultOutput

    def get_queryset(self) -> Any:
        """All, or of one machine."""
        machine = self.request.query_params.get("machine")
        rows = PeriodicResult.objects.select_related("machine", "test", "by")
        return rows.filter(machine__code=machine) if machine else rows


class ProteinChecks(ListAPIView[ProteinCheck]):
    """Every check of residual protein."""

    serializer_class = ProteinCheckOutput
    queryset = ProteinCheck.objects.select_related("piece", "load", "by")


class OneLoad(RetrieveAPIView[Load]):
    """A load with its contents, evidence and trail."""

    serializer_class = LoadDetail
    lookup_field = "code"
    queryset = Load.objects.select_related("machine", "programme", "decision__by").prefetch_related(
        "load_packs__pack", "load_pieces__piece", "traces", "indicators", "lines__person"
    )


urlpatterns = [
    path("machines/", Machines.as_view(), name="api-machines"),
    path("periodic-tests/", PeriodicTests.as_view(), name="api-periodic-tests"),
    path("periodic-results/", PeriodicResults.as_view(), name="api-periodic-results"),
    path("protein-checks/", ProteinChecks.as_view(), name="api-protein-checks"),
    path("loads/", Loads.as_view(), name="api-loads"),
    path("loads/<str:code>/", OneLoad.as_view(), name="api-load"),
    path("loads/<str:code>/curves/", load_curves, name="api-load-curves"),
    *action_routes("reprocessing"),
]
