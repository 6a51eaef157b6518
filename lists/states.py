"""The states of a case, the verdicts on its readiness, and the moves between its states."""

from enum import StrEnum

from journal.moves import Move
from journal.roles import Right


class CaseState(StrEnum):
    """Where a case stands on its day."""

    PLANNED = "planned"
    UNDER_WAY = "under way"
    ENDED = "ended"
    CANCELLED = "cancelled"


class Readiness(StrEnum):
    """The judgement on a case, or on one of its requirements."""

    COMPLETE = "Complete"
    COMPLETE_BY = "Complete by"
    SHORT = "Short"
    LATE = "Late"
    NOT_PLANNED = "Not planned"


class PlanState(StrEnum):
    """What became of the request for a day's plan."""

    ASKED = "asked"
    RUNNING = "running"
    DONE = "done"
    CANCELLED = "cancelled"
    FAILED = "failed"


OPEN_PLANS = (PlanState.ASKED, PlanState.RUNNING)
"""A plan in one of these is still to be made."""

S = CaseState

OPEN_CASES: frozenset[CaseState] = frozenset({S.PLANNED, S.UNDER_WAY})
"""A case in one of these may be given packs."""

CASE_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("begin", frozenset({S.PLANNED}), S.UNDER_WAY, Right.ISSUE),
        Move("end", frozenset({S.UNDER_WAY}), S.ENDED, Right.ISSUE),
        Move("cancel", frozenset({S.PLANNED}), S.CANCELLED, Right.PLAN),
    )
}
