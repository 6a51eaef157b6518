"""Why the cases of a day are not ready, what would help each, and what was applied or asked for already."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from lists.changes import LACKS, READY, Day, Moves
from lists.models import Case, CaseLine
from lists.reads.completing import completing
from lists.reads.readiness import DayNeeds, promised_elsewhere
from lists.remedies import Cause, Remedy, cause, remedies
from lists.states import OPEN_CASES, CaseState

APPLIED, UNDONE = "apply_fix", "undo_fix"


@dataclass(frozen=True, slots=True)
class CaseFixes:
    """A case that is not ready, or one to which a fix was applied.

    Args:
        cause: what binds it; None when it is ready.
        ranked: its fixes, the best first.
        applied: the lines of its trail that applied a fix which has not been undone, the last one last.
    """

    cause: Cause | None
    ranked: tuple[Remedy, ...]
    applied: tuple[CaseLine, ...]

    @property
    def waits_for(self) -> tuple[Remedy, ...]:
        """What was asked for and would still help."""
        asked = {_name(line.evidence["fix_key"]) for line in self.applied if line.evidence.get("asked")}
        return tuple(row for row in self.ranked if _name(row.key) in asked)

    @property
    def first(self) -> Remedy | None:
        """The best fix that a press makes and that leaves less against the day.

        A need for which something was asked waits for that, and the times of a case that waits stay as they are.
        """
        waiting = {number for row in self.waits_for for number in row.candidate.needs}
        by_press = (row for row in self.ranked if row.by_click and row.helps_day)
        return next(
            (row for row in by_press if not waiting or waiting.isdisjoint(row.candidate.needs or waiting)), None
        )


def _name(key: str) -> str:
    """The kind of a fix and what it is about, without the mark of what it was to do."""
    return key.rpartition(".")[0]


def fixes_of(read: DayNeeds, *, only: Collection[str] = ()) -> dict[str, CaseFixes]:
    """For each open case of a day that is not ready, or that was fixed, why and what next.

    The number of queries does not grow with the cases.

    Args:
        read: the day.
        only: codes of the cases to look for fixes for; all when empty.
    """
    facts = facts_to_change(read)
    judged = facts.judged()
    applied = applied_fixes(read.cases)
    found = {}
    for case in read.cases:
        if case.state in OPEN_CASES and (not only or case.code in only):
            ready = judged[case.code].verdict in READY
            if not ready or case.pk in applied:
                ranked = () if ready else remedies(facts, case.code, judged)
                found[case.code] = CaseFixes(cause(facts, case.code, judged), ranked, applied.get(case.pk, ()))
    return found


def facts_to_change(read: DayNeeds) -> Day:
    """A day as the search for fixes sees it."""
    rooms = {case.code: case.list.theatre.code for case in read.cases if case.state == CaseState.PLANNED}
    facts = Day(
        read.needs,
        read.sets,
        timezone.localtime(read.at),
        read.times,
        rooms=rooms,
        promised=frozenset(promised_elsewhere(read.day)),
    )
    lacking = any(stop.slug.endswith(LACKS) for found in read.sets.values() for stop in found.stops)
    return _with_moves(facts, read.day, read.at) if lacking else facts


def _with_moves(facts: Day, day: date, at: datetime) -> Day:
    """The day with the pieces that can complete its trays, chosen for all of them together."""
    moves = {
        row.lying.tray.code: Moves(
            tuple(finding.subject for finding in row.lying.off),
            tuple((move.item.code, move.donor.code if move.donor else "") for move in row.moves),
        )
        for row in completing(day, at=at).can
        if row.moves or row.lying.off
    }
    return replace(facts, moves=moves)


def applied_fixes(cases: Iterable[Case]) -> dict[int, tuple[CaseLine, ...]]:
    """The fixes of each case that were applied and have not been undone, the last one last, by the key of the case."""
    applied: dict[int, tuple[CaseLine, ...]] = {}
    for line in (
        CaseLine.objects.filter(case__in=cases, verb__in=(APPLIED, UNDONE)).select_related("person").order_by("pk")
    ):
        row: Any = line
        if row.verb == APPLIED and "undo" in row.evidence:
            applied[row.case_id] = (*applied.get(row.case_id, ()), row)
        elif row.verb == UNDONE and "line" in row.evidence:
            left = tuple(one for one in applied.get(row.case_id, ()) if one.pk != row.evidence["line"])
            applied[row.case_id] = left
    return {case: lines for case, lines in applied.items() if lines}
