"""Non-conformities: their causes, their states, and who may close one."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from journal.findings import Finding, stop
from journal.moves import Move
from journal.roles import Right
from reprocessing.states import Step


class Cause(StrEnum):
    """What kind of thing went wrong. Trade words of our own choosing; the description says what it was."""

    REJECTED_LOAD = "load rejected"
    FAILED_TEST = "machine test failed"
    POSITIVE_INDICATOR = "indicator failed"
    WET_PACK = "pack wet or damaged"
    SOILED = "soiled after cleaning"
    WRONG_CONTENTS = "wrong or incomplete contents"
    COUNT = "count did not agree"
    MISSING = "piece missing"
    DAMAGED = "piece damaged"
    LATE = "too late"
    RECORD = "record wrong or missing"
    OTHER = "other"


class QualityState(StrEnum):
    """Where a non-conformity stands."""

    OPEN = "open"
    TO_CLOSE = "to be closed"
    CLOSED = "closed"


S = QualityState

QUALITY_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("propose_closure", frozenset({S.OPEN}), S.TO_CLOSE, Right.DECIDE, "propose the closure of"),
        Move("keep_open", frozenset({S.TO_CLOSE}), S.OPEN, Right.RELEASE),
        Move("close", frozenset({S.TO_CLOSE}), S.CLOSED, Right.RELEASE),
    )
}

QUALITY_STEPS: dict[str, Step] = {
    "add_corrective_action": Step("add a corrective action to", (S.OPEN,), Right.DECIDE),
}


def against_proposal(code: str, actions: int, undone: int) -> Iterator[Finding]:
    """What stands against proposing a closure: nothing was done, or something is still to do.

    Args:
        code: of the non-conformity.
        actions: how many corrective actions it has.
        undone: how many of them are still to do.
    """
    if not actions:
        sentence = f"Cannot close {code}: it has no corrective action, must have at least one."
        yield stop("no-corrective-action", code, sentence, "Record what was done about it, or that nothing is needed.")
    elif undone:
        sentence = f"Cannot close {code}: {undone} of its {actions} corrective actions still to do, must be none."
        yield stop("still-to-do", code, sentence, "Record each as done, with what came of it.")


def against_closing(code: str, by: object, *, raised: bool, proposed: bool) -> Iterator[Finding]:
    """What stands against a person as the one who confirms a closure.

    The rule is ours: whoever confirms has neither proposed the closure nor raised the non-conformity, so that
    two persons sign it and nobody is alone with their own report.

    Args:
        code: of the non-conformity.
        by: the person, as a sentence names them.
        raised: they raised it.
        proposed: they proposed its closure.
    """
    done = [words for words, did in (("raised it", raised), ("proposed its closure", proposed)) if did]
    if done:
        sentence = f"Cannot close {code}: {by} has {' and '.join(done)}, it must be closed by somebody else."
        yield stop("second-person", code, sentence, "Have another person look at it and close it.")
