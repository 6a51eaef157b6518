"""API of lists and cases: read-only views, and one POST route per action."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

import lists.actions  # noqa: F401 - enters its actions
from journal.api import FindingOutput, LineOutput, action_routes
from lists.models import Case
from lists.reads import case_history, list_readiness


class NeedOutput(serializers.Serializer[Any]):
    """One requirement of a case, judged."""

    requirement = serializers.IntegerField(source="need.requirement")
    wants = serializers.CharField(source="need.wants")
    chosen = serializers.CharField(source="need.chosen")
    verdict = serializers.CharField()
    ready_at = serializers.DateTimeField()
    where = serializers.CharField()
    findings = serializers.SerializerMethodField()

    @extend_schema_field(FindingOutput(many=True))
    def get_findings(self, need: Any) -> list[dict[str, object]]:
        """What stands in the way."""
        return [finding.as_dict() for finding in need.findings]


class CaseRowOutput(serializers.Serializer[Any]):
    """A case of a list and its readiness; null when it is over."""

    case = serializers.CharField(source="case.code")
    reference = serializers.CharField(source="case.reference")
    theatre = serializers.CharField(source="case.list.theatre.code")
    procedure = serializers.CharField(source="case.procedure.code")
    starts_at = serializers.DateTimeField(source="case.starts_at")
    duration_min = serializers.IntegerField(source="case.duration_min")
    planned_size = serializers.CharField(source="case.planned_size")
    state = serializers.CharField(source="case.state")
    verdict = serializers.CharField(source="readiness.verdict", default=None)
    ready_at = serializers.DateTimeField(source="readiness.ready_at", default=None)
    needs = NeedOutput(source="readiness.needs", many=True, default=())


class DayOutput(serializers.Serializer[Any]):
    """A day's cases with their readiness."""

    day = serializers.DateField()
    sentence = serializers.CharField(source="words")
    rows = CaseRowOutput(many=True)


class IssueOutput(serializers.Serializer[Any]):
    """A pack handed to a case, with the loads and pieces behind it."""

    pack = serializers.CharField(source="pack.code")
    name = serializers.CharField(source="pack.name")
    loads = serializers.SerializerMethodField()
    washes = serializers.SerializerMethodField()
    pieces = serializers.SerializerMethodField()

    def get_loads(self, path_of: Any) -> list[str]:
        """Steriliser loads."""
        return [load.code for load in path_of.loads]

    def get_washes(self, path_of: Any) -> list[str]:
        """Wash loads of its pieces."""
        return [load.code for load in path_of.washes]

    def get_pieces(self, path_of: Any) -> list[str]:
        """Codes of its pieces."""
        return [row.content.piece.code for row in path_of.pieces]


class CaseHistoryOutput(serializers.Serializer[Any]):
    """Everything that was handed to a case, and its trail."""

    case = serializers.CharField(source="case.code")
    reference = serializers.CharField(source="case.reference")
    state = serializers.CharField(source="case.state")
    packs = IssueOutput(many=True)
    lines = LineOutput(many=True)


@extend_schema(responses=DayOutput)
@api_view(["GET"])
def day_list(request: Request, day: date) -> Response:  # noqa: ARG001 - every view takes it
    """Every case of a day with its readiness."""
    return Response(DayOutput(list_readiness(day, at=timezone.now())).data)


@extend_schema(responses=CaseHistoryOutput)
@api_view(["GET"])
def one_case(request: Request, code: str) -> Response:  # noqa: ARG001 - every view takes it
    """A case with each pack, load and piece behind it."""
    case = get_object_or_404(Case.objects.select_related("list__theatre", "procedure"), code=code)
    return Response(CaseHistoryOutput(case_history(case)).data)


urlpatterns = [
    path("lists/<day:day>/", day_list, name="api-list"),
    path("cases/<str:code>/", one_case, name="api-case"),
    *action_routes("lists"),
]
