"""Jobs on loads and machines: what waits for a decision or is overdue, and records left in a folder."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from journal.actions import Concern, look_and_tell
from journal.roles import Role
from reprocessing import folder
from reprocessing.actions import note_refused, take_in
from reprocessing.models import Arrival, Doubt, Indicator, Load, Machine, MachineLot, Recall
from reprocessing.reads import waits_too_long_since
from reprocessing.reads.periodic import lacking_of_each
from reprocessing.recall_states import RecallState
from reprocessing.states import IndicatorKind, LoadState, Result

ANSWERED = (LoadState.RECALLED, LoadState.REJECTED)
"""A load in one of these has had the answer to a failed indicator."""


@shared_task
def take_in_records() -> None:
    """Take in what machines left in their folders, and tell who attaches records which of them wait."""
    root, at = Path(settings.DROP_DIR), timezone.now()
    for left in folder.left_in(root, at_s=time.time()):
        try:
            _take(root, left)
        except FileNotFoundError:  # another run was faster
            continue
    look_and_tell("records", _waiting_records, at=at)


def _take(root: Path, left: folder.Left) -> None:
    """Keep what a file says, then move it; a file that somebody writes to meanwhile is left for the next round."""
    try:
        text = folder.text_of(left)
    except ValueError as refusal:
        place = folder.place_of(root, left, folder.REFUSED).relative_to(root)
        note_refused(left.path.name, folder.fingerprint(left), f"{refusal} It lies in {place}.", left.machine)
        folder.put_away(root, left, str(refusal))
        return
    if left.is_unchanged:
        take_in(left.path.name, text, left.machine)
    if left.is_unchanged:
        folder.put_away(root, left)


def _waiting_records() -> Iterator[Concern]:
    for row in Arrival.objects.waiting().defer("content").select_related("machine"):
        yield Concern(
            cause=f"record:{row.pk}",
            role=Role.TECHNICIAN,
            sentence=f"{row} of {row.machine or 'a machine not known'} came {_clock(row.came_at)} and {_why(row)}.",
            remedy="Look at it, then set it aside." if row.fault else "Match it to its load, or set it aside.",
            link="/records/",
        )


def _why(row: Arrival) -> str:
    return "cannot be read" if row.fault else "has no load"


@shared_task
def watch_decisions() -> None:
    """Tell who decides on loads which of them wait for it."""
    at = timezone.now()
    look_and_tell("decisions", lambda: _undecided(at), at=at)


def _undecided(at: datetime) -> Iterator[Concern]:
    yield from _waiting_too_long(at)
    yield from _biological_results()
    yield from _doubts()


def _waiting_too_long(at: datetime) -> Iterator[Concern]:
    rows = Load.objects.undecided().filter(ended_at__lte=waits_too_long_since(at))
    for load in rows.select_related("machine"):
        yield Concern(
            cause=f"decision:{load.code}",
            role=Role.RELEASER,
            sentence=f"Load {load.code} of {load.machine.name} ended {_clock(load.ended_at)} and is not decided.",
            remedy="Look at its evidence and decide.",
            link=_link(load),
        )


def _biological_results() -> Iterator[Concern]:
    rows = Indicator.objects.filter(kind=IndicatorKind.BIOLOGICAL).exclude(load__state__in=ANSWERED)
    drafts = dict(Recall.objects.filter(state=RecallState.DRAFT).values_list("recall_loads__load", "code"))
    for row in rows.filter(result=Result.FAILED).select_related("load"):
        draft = drafts.get(row.load_id)
        yield Concern(
            cause=f"biological:{row.load.code}",
            role=Role.QUALITY,
            sentence=f"The biological indicator of load {row.load.code} has failed; the load is {row.load.state}.",
            remedy=_remedy(row.load, draft),
            link=f"/recalls/{draft}/" if draft else _link(row.load),
        )
    for row in rows.filter(result=Result.WAITING, load__state=LoadState.RELEASED).select_related("load"):
        yield Concern(
            cause=f"result:{row.load.code}",
            role=Role.RELEASER,
            sentence=f"Load {row.load.code} is released and its biological result is still to be read.",
            remedy="Read it when it is due.",
            link=_link(row.load),
        )


def _remedy(load: Load, draft: str | None) -> str:
    if load.state != LoadState.RELEASED:
        return "Have the load rejected."
    return f"Look at the draft {draft} and decide on the recall." if draft else "Decide on the recall."


def _doubts() -> Iterator[Concern]:
    for row in Doubt.objects.filter(decided_at=None).select_related("load", "test__machine"):
        yield Concern(
            cause=f"doubt:{row.load.code}:{row.test_id}",
            role=Role.QUALITY,
            sentence=f"Load {row.load.code} is in doubt: {row.test.machine.name} failed its {row.test.kind} test.",
            remedy="Decide whether it is recalled.",
            link=_link(row.load),
        )


@shared_task
def watch_machines() -> None:
    """Tell what machines and what they draw on lack: periodic tests that are overdue or failed, lots out of date."""
    at = timezone.now()
    look_and_tell("machines", lambda: _lacking(at), at=at)


def _lacking(at: datetime) -> Iterator[Concern]:
    machines = list(Machine.objects.order_by("pk"))
    lacking = lacking_of_each(machines, at)
    for machine in machines:
        for demand in lacking[machine.pk]:
            yield Concern(
                cause=f"periodic:{machine.code}:{demand.name}",
                role=Role.TECHNICIAN,
                sentence=f"The periodic test “{demand.name}” of {machine.name} {demand.words}.",
                remedy="Do it and record its result.",
                link=f"/machines/{machine.code}/upkeep/",
            )
    today = timezone.localdate(at)
    for lot in MachineLot.objects.in_use(at).filter(expires_on__lt=today).select_related("machine"):
        yield Concern(
            cause=f"lot:{lot.pk}",
            role=Role.TECHNICIAN,
            sentence=f"{lot} on {lot.machine.name} expired on {lot.expires_on}.",
            remedy="Connect a lot that is in date.",
            link=f"/machines/{lot.machine.code}/upkeep/",
        )


def _link(load: Load) -> str:
    return f"/loads/{load.code}/"


def _clock(moment: datetime | None) -> str:
    return f"{timezone.localtime(moment):%d-%b-%Y %H:%M}" if moment else "at a time not recorded"
