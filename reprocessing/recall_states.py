"""The states of a recall, the moves between them, and what may become of each thing that it calls back."""

from enum import StrEnum

from journal.moves import Move
from journal.roles import Right


class RecallState(StrEnum):
    """Where a recall stands between its draft and its end."""

    DRAFT = "draft"
    ISSUED = "issued"
    TO_CLOSE = "to be closed"
    CLOSED = "closed"
    DROPPED = "dropped"


class Outcome(StrEnum):
    """What became of a thing that is called back."""

    OPEN = "to find"
    FOUND = "found"
    USED = "used"
    NOT_FOUND = "not found"
    ENDED = "ended before"


SETTLED: frozenset[Outcome] = frozenset(Outcome) - {Outcome.OPEN}
"""A recall is closed when everything has one of these."""

BY_HAND: frozenset[Outcome] = frozenset({Outcome.FOUND, Outcome.USED, Outcome.NOT_FOUND})
"""What somebody who looks for a thing can say of it."""

S = RecallState

RECALL_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("issue", frozenset({S.DRAFT}), S.ISSUED, Right.DECIDE),
        Move("drop", frozenset({S.DRAFT}), S.DROPPED, Right.DECIDE),
        Move("propose_closure", frozenset({S.ISSUED}), S.TO_CLOSE, Right.DECIDE, "propose the closure of"),
        Move("keep_open", frozenset({S.TO_CLOSE}), S.ISSUED, Right.RELEASE),
        Move("close", frozenset({S.TO_CLOSE}), S.CLOSED, Right.RELEASE),
    )
}

SEARCHED: frozenset[RecallState] = frozenset({S.ISSUED})
"""While a recall is in one of these, what it calls back is looked for."""

IN_FORCE: frozenset[RecallState] = frozenset({S.ISSUED, S.TO_CLOSE})
"""While a recall is in one of these, nothing of it is let out."""
