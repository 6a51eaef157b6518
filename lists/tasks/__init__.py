"""Jobs on lists: what lacks, standing sets, pieces that have not come back, trays to complete, messages left."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.core.cache import cache
from django.utils import timezone

from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.actions import Act, Concern, look_and_tell
from journal.findings import Severity
from journal.reads import policy, trail_mark
from journal.roles import Role
from lists.actions import list_system, print_at_cutoff, take_in_message
from lists.actions.dropping import FELL
from lists.actions.fixing import TOPIC, asked_fixes
from lists.intake.reception import received_in
from lists.intake.scheduling import Fault, Unreadable
from lists.intake.segments import MOST_BYTES
from lists.models import Message
from lists.plans.set_times import days_ahead
from lists.reads import CaseRow, case_cause, completing, emergencies, list_readiness, listed_days, standing_sets
from lists.states import CaseState, Readiness
from lists.tasks.planning import make_plan, watch_days
from reprocessing import folder

__all__ = [
    "make_plan",
    "print_go_sheets",
    "take_in_lists",
    "watch_cases",
    "watch_changes",
    "watch_completion",
    "watch_days",
]

SEEN, TOLD = "watch_changes.seen", "watch_changes.told"  # lost with the cache: then it is looked at once more
WORTH_TELLING = (Readiness.SHORT, Readiness.LATE, Readiness.NOT_PLANNED)


@shared_task
def watch_cases() -> None:
    """Tell the coordinators what lacks before a listed case, and the unit which pieces are missing."""
    at = timezone.now()
    look_and_tell("cases", lambda: _lacking(at), at=at)
    look_and_tell(TOPIC, lambda: asked_fixes(at), at=at)
    look_and_tell("emergency", emergencies, at=at)


@shared_task
def watch_changes() -> None:
    """Do the same soon after something was recorded, once nothing more has been recorded for a turn."""
    mark = trail_mark()
    known = cache.get_many([SEEN, TOLD])
    cache.set(SEEN, mark, timeout=None)
    if mark == known.get(SEEN) and mark != known.get(TOLD):
        watch_cases()
        cache.set(TOLD, mark, timeout=None)


def _lacking(at: datetime) -> Iterator[Concern]:
    today = timezone.localdate(at)
    last = days_ahead(today, int(policy("case_horizon_days")))[-1]
    for day in sorted(listed_days(today, last)):
        for row in list_readiness(day, at=at).rows:
            yield from _of_case(row, day)
    yield from _standing(today, at)
    yield from _missing()
    yield from _dropped()


def _of_case(row: CaseRow, day: date) -> Iterator[Concern]:
    if row.case.state != CaseState.PLANNED or row.readiness is None or row.readiness.verdict not in WORTH_TELLING:
        return
    first = min(row.readiness.findings, key=lambda finding: list(Severity).index(finding.severity))
    start = timezone.localtime(row.case.starts_at)
    yield Concern(
        cause=case_cause(row.case.code),
        role=Role.COORDINATOR,
        sentence=f"Case {row.case.code}, {start:%a %d-%b-%Y %H:%M}: {row.readiness.words}. {first.sentence}",
        remedy=first.remedy,
        link=f"/lists/{day.isoformat()}/",
    )


def _standing(today: date, at: datetime) -> Iterator[Concern]:
    """Standing sets below their minimum, or that the list takes below it; at the minimum all is as it should be."""
    for row in standing_sets(today, at=at):
        if row.sterile - row.reserved < row.minimum:
            (finding,) = row.findings
            yield Concern(
                cause=f"standing:{row.template}",
                role=Role.COORDINATOR,
                sentence=finding.sentence,
                remedy=finding.remedy,
                link=f"/lists/{today.isoformat()}/",
            )


def _missing() -> Iterator[Concern]:
    """Each missing piece, to those who can look for it: in the theatre, and in sterile services."""
    lines = PieceLine.objects.filter(piece__state=PieceState.MISSING, target=PieceState.MISSING).order_by("pk")
    last = {line.piece_id: line for line in lines}
    for piece in Piece.objects.filter(state=PieceState.MISSING).select_related("part"):
        line = last[piece.pk]
        case = line.evidence.get("case")
        since = timezone.localtime(line.occurred_at)
        from_case = f" It did not come back from case {case}." if case else ""
        for role in (Role.NURSE, Role.TECHNICIAN):
            yield Concern(
                cause=f"missing:{piece.code}",
                role=role,
                sentence=f"{piece.part.name} {piece.code} is missing since {since:%d-%b-%Y %H:%M}.{from_case}",
                remedy="Look in the theatre, the linen and the waste; scan it when it is found.",
                link=f"/pieces/{piece.code}/",
            )


def _dropped() -> Iterator[Concern]:
    """Each piece that was dropped or failed in a case and is not back: its set comes short of it, by record."""
    lines = PieceLine.objects.filter(verb="drop", piece__state=PieceState.IN_USE, piece__carried__isnull=False)
    for line in lines.select_related("piece__part", "piece__carried__pack"):
        piece, evidence = line.piece, line.evidence
        if piece.carried.pack.code == evidence["pack"]:
            pack = piece.carried.pack
            yield Concern(
                cause=f"dropped:{piece.code}",
                role=Role.TECHNICIAN,
                sentence=f"{pack.name} {pack.code} comes back short of {piece.part.name} {piece.code}, "
                f"which {FELL[evidence['fault']]} in case {evidence['case']}.",
                remedy="The piece comes by itself: count it, look at it, and send it to repair if it fails its test.",
                link=f"/pieces/{piece.code}/",
            )


@shared_task
def print_go_sheets() -> None:
    """Print the go / no go sheet of the next list once its cut-off has passed."""
    print_at_cutoff(timezone.now())


@shared_task
def watch_completion() -> None:
    """Tell coordinators and technicians how many of tomorrow's trays can be completed by moving pieces."""
    at = timezone.now()
    look_and_tell("completion", lambda: _completable(at), at=at)


def _completable(at: datetime) -> Iterator[Concern]:
    """One concern for tomorrow while any move helps; it goes when the pieces lie on the trays, or none helps."""
    day = timezone.localdate(at) + timedelta(days=1)
    found = completing(day, at=at)
    if not found.moves:
        return
    trays, moves = found.to_fill, len(found.moves)
    which = "1 tray" if trays == 1 else f"{trays} trays"
    for role in (Role.COORDINATOR, Role.TECHNICIAN):
        yield Concern(
            cause=f"completion:{day.isoformat()}",
            role=role,
            sentence=f"{which} for {day:%a %d-%b-%Y} can be completed with {moves} move{'' if moves == 1 else 's'}.",
            remedy="Take the work sheet and lay the pieces on the trays.",
            link=f"/lists/{day.isoformat()}/complete/",
        )


@shared_task
def take_in_lists() -> None:
    """Take in what list systems left in their folder, and tell the coordinators which messages wait for them."""
    root, at = Path(settings.LISTS_DROP_DIR), timezone.now()
    for left in folder.left_in(root, at_s=time.time()):
        try:
            _take(root, left, at)
        except FileNotFoundError:  # another run was faster
            continue
    look_and_tell("messages", lambda: _messages(root), at=at)


def _take(root: Path, left: folder.Left, at: datetime) -> None:
    """Keep the messages of a file, then remove it: it names patients, and what is kept does not.

    A file that is no message of any form is put away with its reason; one that somebody writes to meanwhile is left
    for the next round.
    """
    try:
        received = received_in(
            _content(left), sender=left.machine or "drop", at=at, zone=timezone.get_default_timezone()
        )
    except Unreadable as refusal:
        folder.put_away(root, left, str(refusal))
        return
    if left.is_unchanged:
        act = Act(by=list_system(), at=at, method="message")
        for reading, original in received:
            take_in_message(reading, original, act=act)
    if left.is_unchanged:
        left.path.unlink()


def _content(left: folder.Left) -> bytes:
    if left.size > MOST_BYTES:
        raise Unreadable(Fault("the file", f"{left.size} bytes", f"at most {MOST_BYTES} bytes"))
    return left.path.read_bytes()


def _messages(root: Path) -> Iterator[Concern]:
    for row in Message.objects.still_open().defer("content"):
        yield Concern(
            cause=f"message:{row.pk}",
            role=Role.COORDINATOR,
            sentence=f"A message of {row.sender} about case {row.reference or 'of no number'} is {row.state}.",
            remedy="Look at what it lacks.",
            link="/lists/messages/",
        )
    refused = len(list((root / folder.REFUSED).rglob("*.reason.txt")))
    if refused:
        yield Concern(
            cause="files",
            role=Role.COORDINATOR,
            sentence=f"Files left for the lists that cannot be read: {refused}.",
            remedy="Look at the reasons beside them, in the folder refused; then remove them.",
            link="/lists/messages/",
        )
