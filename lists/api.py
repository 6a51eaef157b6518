"""API of lists and cases: read-only views, one POST route per action, and FHIR Appointment in and out."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from datetime import date
from http import HTTPStatus
from typing import Any, cast

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import api_view, parser_classes, renderer_classes
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

import lists.actions
from journal.actions import Act
from journal.api import FindingOutput, LineOutput, action_routes
from journal.findings import Finding, Refused, Severity, stop
from journal.models import Person
from lists.intake.appointments import R5, VERSIONS
from lists.intake.emitting import bundle
from lists.intake.reception import fhir_in
from lists.intake.scheduling import Unreadable
from lists.models import Case, Message, MessageState
from lists.reads import case_history, day_needs, fixes_of, list_readiness, planned_on


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


class FixOutput(serializers.Serializer[Any]):
    """A fix of a case, judged; `key` is what applying it takes. Who: the plan, hands, a person, or outside."""

    key = serializers.CharField()
    way = serializers.CharField(source="candidate.way")
    who = serializers.CharField(source="candidate.who")
    sentence = serializers.CharField(source="candidate.sentence")
    by_press = serializers.BooleanField(source="by_click")
    ready = serializers.BooleanField()
    steps = serializers.IntegerField(source="candidate.steps")
    gained_min = serializers.IntegerField()
    costs = serializers.SerializerMethodField()

    def get_costs(self, fix: Any) -> list[str]:
        """What it costs other cases, and the unit."""
        return [*(cost.words for cost in fix.costs), *([fix.candidate.price] if fix.candidate.price else [])]


class CaseFixesOutput(serializers.Serializer[Any]):
    """Why a case is not ready, its fixes with the best first, and what was applied or asked for."""

    case = serializers.CharField()
    why = serializers.CharField(source="found.cause.sentence", default=None)
    first = serializers.CharField(source="found.first.key", default=None)
    fixes = FixOutput(source="found.ranked", many=True)
    applied = serializers.SerializerMethodField()

    def get_applied(self, row: Any) -> list[str]:
        """Sentences of what was applied or asked for and has not been undone, the last one last."""
        return [line.evidence.get("fix") or line.evidence["asked"] for line in row["found"].applied]


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


@extend_schema(responses=CaseFixesOutput(many=True))
@api_view(["GET"])
def day_fixes(request: Request, day: date) -> Response:  # noqa: ARG001 - every view takes it
    """Each case of a day that is not ready, or that was fixed: why, and what next."""
    found = fixes_of(day_needs(day, at=timezone.now()))
    rows = [{"case": code, "found": fixes} for code, fixes in found.items()]
    return Response(CaseFixesOutput(rows, many=True).data)


@extend_schema(responses=CaseHistoryOutput)
@api_view(["GET"])
def one_case(request: Request, code: str) -> Response:  # noqa: ARG001 - every view takes it
    """A case with each pack, load and piece behind it."""
    case = get_object_or_404(Case.objects.select_related("list__theatre", "procedure"), code=code)
    return Response(CaseHistoryOutput(case_history(case)).data)


FHIR_JSON = "application/fhir+json"
ANSWERS = {
    MessageState.APPLIED: HTTPStatus.OK,
    MessageState.WAITING: HTTPStatus.ACCEPTED,
    MessageState.REFUSED: HTTPStatus.UNPROCESSABLE_ENTITY,
}
"""What became of an appointment, said over HTTP; of one that was overtaken or set aside nothing more is due."""


class FhirReader(BaseParser):
    """Takes a FHIR resource as it came; it is read, and may be refused, where its findings are told."""

    media_type = FHIR_JSON

    def parse(self, stream: Any, *_: Any) -> dict[str, Any]:
        """The bytes, under the name `content`."""
        return {"content": stream.read()}


class JsonReader(FhirReader):
    """The same for senders that name plain JSON."""

    media_type = "application/json"


class FhirWriter(JSONRenderer):
    """Writes a FHIR resource."""

    media_type = FHIR_JSON


def fhir_view(*methods: str) -> Callable[[Callable[..., Response]], Any]:
    """An address of FHIR: its content types, out of the catalogue of our own routes."""

    def make(view: Callable[..., Response]) -> Any:
        for mark in (renderer_classes([FhirWriter, JSONRenderer]), parser_classes([FhirReader, JsonReader])):
            view = mark(view)
        return extend_schema(request={FHIR_JSON: OpenApiTypes.OBJECT}, responses=OpenApiTypes.OBJECT)(
            api_view([*methods])(view)
        )

    return make


@fhir_view("GET", "POST")
def fhir_appointments(request: Request) -> Response:
    """FHIR Appointment, R4B or R5: a day's cases (`?date=YYYY-MM-DD`), or one or more appointments to be taken in."""
    if request.method == "POST":
        return _take_in(request)
    try:
        day = date.fromisoformat(request.query_params.get("date", ""))
    except ValueError:
        sentence = "Cannot search appointments: date is not a day, must be written YYYY-MM-DD."
        return _outcome(HTTPStatus.BAD_REQUEST, [stop("date-unclear", "date", sentence, "Name a day.")])
    found = bundle(planned_on(day), at=timezone.now(), version=VERSIONS.get(_version(request, "Accept"), R5))
    return Response(json.loads(found))


@fhir_view("PUT")
def fhir_appointment(request: Request, number: str) -> Response:
    """FHIR Appointment, R4B or R5: an appointment as it is now."""
    return _take_in(request, number)


def _version(request: Request, header: str) -> str:
    """The parameter fhirVersion of a content type; R5's where none is stated."""
    stated = re.search(r"fhirVersion=\"?([\w.]+)", request.headers.get(header, ""))
    return stated[1] if stated else R5


def _take_in(request: Request, number: str = "") -> Response:
    """Take in each appointment, and answer for the one that is worst off."""
    version = _version(request, "Content-Type")
    if version not in VERSIONS:
        sentence = f"Cannot take FHIR {version}: it must be one of {', '.join(VERSIONS)}."
        return _outcome(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, [stop("fhir-version", version, sentence)])
    at, person = timezone.now(), cast("Person", request.user)
    try:
        received = fhir_in(request.data.get("content", b""), sender=person.username, at=at)
    except Unreadable as wrong:
        return _outcome(HTTPStatus.BAD_REQUEST, [fault.finding for fault in wrong.faults])
    ids = {reading.control.partition("/")[0] for reading, _ in received}
    if number and ids != {number}:
        sentence = f"Cannot take this appointment: its id is not {number}, must be that of the address."
        return _outcome(HTTPStatus.BAD_REQUEST, [stop("id-of-other", "Appointment.id", sentence)])
    act = Act(by=person, at=at, method="token" if request.auth else "password")
    try:
        kept = [lists.actions.take_in_message(reading, original, act=act) for reading, original in received]
    except Refused as refused:
        return _outcome(HTTPStatus.FORBIDDEN, refused.findings)
    return _answer(kept)


def _answer(kept: Sequence[Message]) -> Response:
    status = max(ANSWERS.get(MessageState(message.state), HTTPStatus.OK) for message in kept)
    findings = [
        Finding(
            "message",
            Severity.STOP if message.state == MessageState.REFUSED else Severity.NOTE,
            message.reference or str(message),
            f"{message.state.capitalize()}: {message.sentence}",
        )
        for message in kept
    ]
    return _outcome(status, findings)


def _outcome(status: HTTPStatus, findings: Sequence[Finding]) -> Response:
    """An OperationOutcome of these findings."""
    issues = [
        {
            "severity": "error" if finding.severity is Severity.STOP else "information",
            "code": "processing" if finding.severity is Severity.STOP else "informational",
            "diagnostics": finding.words,
        }
        for finding in findings
    ]
    return Response({"resourceType": "OperationOutcome", "issue": issues}, status=status)


urlpatterns = [
    path("lists/<day:day>/", day_list, name="api-list"),
    path("lists/<day:day>/fixes/", day_fixes, name="api-list-fixes"),
    path("cases/<str:code>/", one_case, name="api-case"),
    path("fhir/Appointment", fhir_appointments, name="api-fhir-appointments"),
    path("fhir/Appointment/<str:number>", fhir_appointment, name="api-fhir-appointment"),
    *action_routes("lists"),
]
