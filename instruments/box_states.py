"""The quarantine box of suspected prion disease: its states, and that nothing leaves it without its decision.

Source: UK TSE guidance, Annex E, as reproduced in hospital policies (second hand): gross soil off, a rigid sealed
box with a label, held until the diagnosis; ruled out, its pieces go to normal reprocessing by a responsible person's
decision; confirmed, the box is destroyed unopened. That an unresolved one is destroyed too: common practice, confirm
locally.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from journal.findings import Finding, stop
from journal.moves import Move
from journal.roles import Right


class BoxState(StrEnum):
    """Where a quarantine box stands."""

    OPEN = "open"
    SEALED = "sealed"
    RULED_OUT = "ruled out"
    DESTROYED = "destroyed"


B = BoxState

HELD: frozenset[BoxState] = frozenset({B.OPEN, B.SEALED})
"""In these a box holds what was put in."""

BOX_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("seal", frozenset({B.OPEN}), B.SEALED, Right.HOLD),
        Move("rule_out", frozenset({B.SEALED}), B.RULED_OUT, Right.DECIDE, "rule out the suspicion on"),
        Move("destroy", frozenset({B.SEALED}), B.DESTROYED, Right.DECIDE),
    )
}


def stays_in_box(verb: str, piece: str, box: str | None) -> Iterator[Finding]:
    """A piece in a quarantine box leaves it with the decision on the box, and not alone.

    Args:
        verb: what was asked for ("clear").
        piece: its code.
        box: code of the box that it is in; None when it is in none.
    """
    if box is not None:
        sentence = f"Cannot {verb} {piece}: it is in quarantine box {box}, must leave with the decision on the box."
        yield stop("in-quarantine-box", piece, sentence, "Have the quality lead decide on the box.")
