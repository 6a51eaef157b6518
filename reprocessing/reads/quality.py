"""Questions about non-conformities: what happened that none was raised on, and what is done about one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet

from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.reads import policy
from reprocessing.models import Load, LoadPack, MachineTest, Nonconformity, PeriodicResult, ProteinCheck
from reprocessing.quality_states import Cause
from reprocessing.states import LoadState, Result

LOOKED_AT = timedelta(days=30)
"""What happened longer ago is not offered: it was decided on, or it stands in the reports."""
MOST = 12
"""Of each kind."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that a non-conformity is usually raised on, and that has none.

    Args:
        thing: code of what it happened to.
        name: what a person calls that.
        cause: the cause it would be raised with.
        description: the words it would be raised with.
        at: when it happened.
    """

    thing: str
    name: str
    cause: Cause
    description: str
    at: datetime


def unraised(at: datetime) -> list[Event]:
    """Loads, tests, checks, packs and pieces that went wrong, without a non-conformity, the newest first."""
    since = at - LOOKED_AT
    events = [*_loads(since), *_tests(since), *_periodic(since), *_protein(since), *_packs(since), *_pieces(since, at)]
    return sorted(events, key=lambda event: event.at, reverse=True)


def _none_raised(rows: QuerySet[Any], kind: str, key: str = "pk", **since: Any) -> QuerySet[Any]:
    raised = Nonconformity.objects.filter(**{kind: OuterRef(key), **since})
    return rows.filter(~Exists(raised))


def _loads(since: datetime) -> Iterator[Event]:
    rows = Load.objects.filter(state=LoadState.REJECTED, decision__at__gte=since).select_related("machine", "decision")
    for row in _none_raised(rows, "load").order_by("-decision__at")[:MOST]:
        words = f"Load rejected: {row.decision.reason}"
        yield Event(row.code, f"Load on {row.machine}", Cause.REJECTED_LOAD, words, row.decision.at)


def _tests(since: datetime) -> Iterator[Event]:
    rows = MachineTest.objects.filter(result=Result.FAILED, at__gte=since).select_related("machine")
    for row in _none_raised(rows, "machine", "machine", raised_at__gte=OuterRef("at")).order_by("-at")[:MOST]:
        words = f"{row.kind.capitalize()} test failed. {row.note}".strip()
        yield Event(row.machine.code, row.machine.name, Cause.FAILED_TEST, words, row.at)


def _periodic(since: datetime) -> Iterator[Event]:
    rows = PeriodicResult.objects.filter(passed=False, taken_at__gte=since).select_related("machine", "test")
    for row in _none_raised(rows, "machine", "machine", raised_at__gte=OuterRef("at")).order_by("-taken_at")[:MOST]:
        must = row.test.within.words if row.test.within else "passed"
        words = f"{row.test}: {row.words}, must be {must}. {row.note}".strip()
        yield Event(row.machine.code, row.machine.name, Cause.FAILED_TEST, words, row.taken_at)


def _protein(since: datetime) -> Iterator[Event]:
    rows = ProteinCheck.objects.filter(passed=False, at__gte=since).select_related("piece__part")
    for row in _none_raised(rows, "piece", "piece", raised_at__gte=OuterRef("at")).order_by("-at")[:MOST]:
        words = f"Residual protein: {row.words}. {row.note}".strip()
        yield Event(row.piece.code, row.piece.part.name, Cause.SOILED, words, row.at)


def _packs(since: datetime) -> Iterator[Event]:
    rows = LoadPack.objects.filter(barrier_intact=False, load__ended_at__gte=since).select_related("pack", "load")
    for row in _none_raised(rows, "pack", "pack").order_by("-load__ended_at")[:MOST]:
        words = f"{row.fault.capitalize()} on unloading of {row.load.code}"
        yield Event(row.pack.code, row.pack.name, Cause.WET_PACK, words, row.load.ended_at)


def _pieces(since: datetime, at: datetime) -> Iterator[Event]:
    until = at - timedelta(hours=int(policy("missing_raise_h")))
    lines = PieceLine.objects.filter(piece=OuterRef("pk"), target=PieceState.MISSING).order_by("-id")
    rows: QuerySet[Any] = Piece.objects.filter(state=PieceState.MISSING).select_related("part")
    rows = rows.annotate(missed_at=lines.values("occurred_at")[:1], why=lines.values("reason")[:1])
    rows = rows.filter(missed_at__gte=since, missed_at__lte=until)
    for row in _none_raised(rows, "piece", raised_at__gte=OuterRef("missed_at")).order_by("-missed_at")[:MOST]:
        words = f"Missing. {row.why}".strip()
        yield Event(row.code, row.part.name, Cause.MISSING, words, row.missed_at)


def by_number(row: Nonconformity) -> QuerySet[Any]:
    """Its corrective actions in order, those still to do first."""
    rows: QuerySet[Any] = row.corrective_actions.select_related("done_by")
    return rows.order_by(F("done_at").asc(nulls_first=True), "number")
