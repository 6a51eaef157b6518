"""The list of loads, and the page of one."""

from __future__ import annotations

from datetime import datetime
from itertools import groupby
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from instruments.models import Piece
from journal.doors import act_of, perform, person_of
from journal.models import Person
from journal.moves import right_missing
from reprocessing.actions import open_load
from reprocessing.checklist import summary
from reprocessing.forms import OpenLoad, filled
from reprocessing.models import Arrival, Load, Machine
from reprocessing.reads import builders, load_evidence, programmes_offered, sets_in, trail_of, waits_too_long_since
from reprocessing.reads.devices import differences_of
from reprocessing.reads.soil import soil_of
from reprocessing.reads.supplies import lots_of_load
from reprocessing.states import OPENS, LoadState, MachineKind
from reprocessing.views.offers import Asked, doubts, offers, readings
from reprocessing.views.records import messages_of, record_of
from trays.models import Pack

A_PAGE = 50
"""Decided loads on a page."""


@require_safe
def loads(request: HttpRequest) -> HttpResponse:
    """What waits for a decision, what is built or runs, and what was decided; and a new load."""
    at = timezone.now()
    rows = Load.objects.select_related("machine", "programme").counted()
    page = Paginator(Load.objects.decided().latest_first().values_list("pk", flat=True), A_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "waiting": _waiting(rows, at),
        "under_way": rows.filter(state__in=[LoadState.BUILDING, LoadState.RUNNING]).order_by("-state", "pk"),
        "decided": rows.filter(pk__in=list(page)).select_related("decision__by").latest_first(),
        "page_of_decided": page,
        "machines": _machines(person_of(request)),
        "open": OpenLoad(),
        "records_waiting": Arrival.objects.waiting().count(),
    }
    return render(request, "reprocessing/loads.html", context)


def _waiting(rows: Any, at: datetime) -> list[dict[str, Any]]:
    """Loads without a decision, the longest waiting first."""
    since = waits_too_long_since(at)
    undecided = rows.undecided().order_by("ended_at", "pk")
    return [
        {"load": row, "waits": at - row.ended_at, "look": "look" if row.ended_at <= since else row.state}
        for row in undecided
    ]


def _machines(by: Person) -> list[dict[str, Any]]:
    """Each machine with its programmes, and why this person may not open a load of it."""
    machines = Machine.objects.prefetch_related(Prefetch("programmes", programmes_offered()))
    return [{"machine": machine, "why_not": _why_not_open(machine, by)} for machine in machines]


def _why_not_open(machine: Machine, by: Person) -> str:
    right = OPENS[MachineKind(machine.kind)]
    return "" if right in by.rights else right_missing(right, "open a load of", machine.name).sentence


@require_POST
def open_one(request: HttpRequest) -> HttpResponse:
    """Open a load and go on to its page."""
    return perform(
        request,
        lambda: open_load(**filled(OpenLoad(request.POST)), act=act_of(request)),
        to=lambda done: reverse("load", args=[done.mark]),
    )


@require_safe
def load(request: HttpRequest, code: str) -> HttpResponse:
    """One load: what is in it, its evidence and record, what can be done now, and its trail."""
    rows = Load.objects.select_related("machine", "programme", "decision__by", "exceptional_release__signed_by")
    row = get_object_or_404(rows.counted(), code=code)
    asked = Asked(row, person_of(request), timezone.now())
    checks = load_evidence(row)
    context = {
        "load": row,
        "builders": builders(row),
        "soil": soil_of(row, asked.at) if row.machine.washes else None,
        "lots": lots_of_load(row, asked.at),
        "ran_on": timezone.localdate(row.started_at or asked.at),
        "room": sets_in(row),
        "packs": row.load_packs.select_related("pack").order_by("pack__code"),
        "sets": _sets(row),
        "checks": checks,
        "summary": summary(checks),
        "record": record_of(row),
        "device_messages": messages_of(row),
        "differences": differences_of(row),
        "offers": offers(asked, checks),
        "readings": readings(asked),
        "doubts": doubts(asked),
        "lines": trail_of(row),
    }
    return render(request, "reprocessing/load.html", context)


def _sets(row: Load) -> list[tuple[Pack | None, list[Piece]]]:
    """The pieces of a washer load by the pack they came back with; loose ones last."""
    members = row.load_pieces.select_related("piece__part", "came_with")
    ordered = sorted(members, key=lambda member: (member.came_with_id is None, member.came_with_id, member.piece.code))
    return [
        (came_with, [member.piece for member in group])
        for came_with, group in groupby(ordered, key=lambda member: member.came_with)
    ]
