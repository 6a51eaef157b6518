"""Random moves on the state tables break no never; and a table with a short cut in it would be found."""

from __future__ import annotations

import pytest

from instruments.states import PieceState
from journal.moves import Move
from journal.roles import Right
from reprocessing.states import LoadState
from tests.benchmarks.random_moves import TABLES, walk
from trays.states import PackState


def test_thirty_thousand_tries_break_no_never() -> None:
    done, broken = walk(30_000, seed=11)
    assert broken == set()
    assert len(done) >= 60
    assert {kind for kind in TABLES if any(name.startswith(f"{kind}: ") for name in done)} == set(TABLES)


@pytest.mark.parametrize(
    ("kind", "short_cut", "words"),
    [
        (
            "piece",
            Move("wipe", frozenset({PieceState.RETURNED}), PieceState.INSPECTED, Right.INSPECT),
            "without a passed wash",
        ),
        ("piece", Move("let_out", frozenset({PieceState.QUARANTINED}), PieceState.RETURNED, Right.HOLD), "quarantine"),
        ("pack", Move("skip", frozenset({PackState.ASSEMBLED}), PackState.ISSUED, Right.ISSUE), "without a release"),
        ("pack", Move("forgive", frozenset({PackState.RECALLED}), PackState.STERILE, Right.HOLD), "after recalled"),
        (
            "load",
            Move("pass", frozenset({LoadState.RUNNING}), LoadState.RELEASED, Right.RELEASE),
            "released by the way",
        ),
        ("load", Move("forgive", frozenset({LoadState.REJECTED}), LoadState.RELEASED, Right.RELEASE), "let out of"),
    ],
)
def test_a_short_cut_is_found(kind: str, short_cut: Move, words: str) -> None:
    first, table = TABLES[kind]
    _, broken = walk(10_000, 11, {kind: (first, {**table, short_cut.name: short_cut})})
    assert any(words in one for one in broken), broken
