"""One rule for every state table."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

import pytest

from journal.findings import Finding, Severity
from journal.moves import Move, as_mermaid, why_not
from journal.roles import Right


class Door(StrEnum):
    SHUT = "shut"
    AJAR = "left ajar"
    OPEN = "open"


OPEN_IT = Move("open_up", frozenset({Door.SHUT, Door.AJAR}), Door.OPEN, Right.STORE)
SHUT_IT = Move("shut", frozenset({Door.OPEN}), Door.SHUT, Right.STORE, "pull to")
STUCK = Finding("stuck", Severity.STOP, "Door 1", "The door is stuck.")
CREAKS = Finding("creaks", Severity.LOOK, "Door 1", "The door creaks.")


def why(*facts: Finding, move: Move = OPEN_IT, state: str = "shut", rights: Iterable[Right] = Right) -> list[str]:
    found = why_not(move, subject="Door 1", state=state, rights=frozenset(rights), facts=facts)
    return [finding.slug for finding in found]


@pytest.mark.parametrize("state", ["shut", "left ajar"])
def test_a_move_may_happen_from_any_of_its_origins(state: str) -> None:
    assert why(state=state) == []


def test_a_move_from_another_state_names_what_it_is_and_what_it_must_be() -> None:
    (finding,) = why_not(OPEN_IT, subject="Door 1", state="open", rights=[Right.STORE])
    assert finding.words == "Cannot open up Door 1: it is open, must be left ajar or shut. Nothing was changed."
    assert finding.severity is Severity.STOP


def test_a_move_without_its_right_names_the_right() -> None:
    (finding,) = why_not(SHUT_IT, subject="Door 1", state="open", rights=[Right.ISSUE])
    assert finding.sentence == "Cannot pull to Door 1: your sign-in does not hold the right “store”."


def test_only_stops_among_the_facts_forbid() -> None:
    assert why(CREAKS) == []
    assert why(CREAKS, STUCK) == ["stuck"]


def test_everything_that_stands_against_a_move_is_said_at_once() -> None:
    assert why(STUCK, state="open", rights=()) == ["right-missing", "wrong-state", "stuck"]


def test_a_move_needs_an_origin() -> None:
    with pytest.raises(ValueError, match="needs an origin"):
        Move("open", frozenset(), Door.OPEN, Right.STORE)


def test_a_table_is_drawn_with_one_arrow_per_origin() -> None:
    assert as_mermaid("Door", [OPEN_IT, SHUT_IT]) == "\n".join(
        [
            "## Door",
            "",
            "```mermaid",
            "stateDiagram-v2",
            '    state "left ajar" as left_ajar',
            '    state "open" as open',
            '    state "shut" as shut',
            "    left_ajar --> open: open up",
            "    shut --> open: open up",
            "    open --> shut: pull to",
            "```",
            "",
        ]
    )
