"""Where things came from and went: worked examples, and a walk written differently that goes over all rows."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lists.lineage import BEGINNING, END, Contacts, Node, Sort, by_sort, walk

DAY = datetime(2026, 11, 24, tzinfo=UTC)


def node(name: str) -> Node:
    return Node({"i": Sort.PIECE, "k": Sort.PACK, "l": Sort.LOAD, "c": Sort.CASE}[name[0]], int(name[1:]))


class Contact(NamedTuple):
    """One thing that went into another."""

    inner: Node
    outer: Node
    at: datetime


def contact(inner: str, outer: str, hour: int) -> Contact:
    return Contact(node(inner), node(outer), DAY + timedelta(hours=hour))


def found(rows: list[Contact], *starts: str, forward: bool, turns: int | None = 0) -> set[str]:
    letters = {Sort.PIECE: "i", Sort.PACK: "k", Sort.LOAD: "l", Sort.CASE: "c"}
    things = walk(map(node, starts), among(rows, forward=forward), forward=forward, turns=turns)
    return {f"{letters[one.sort]}{one.key}" for one in things} - set(starts)


def among(rows: list[Contact], *, forward: bool):  # type: ignore[no-untyped-def]
    """No more than what a walk must be given."""

    def fetch(things: Collection[Node], since: datetime) -> Iterator[Contacts]:
        for inner, outer, at in rows:
            if inner in things and (at >= since if forward else at <= since):
                yield Contacts(inner.sort, outer.sort, [(inner.key, outer.key, at)])
            if outer in things:
                yield Contacts(outer.sort, inner.sort, [(outer.key, inner.key, at)])

    return fetch


# Piece 1 goes through pack 1 (case 1), wash 1, pack 2 (case 2); piece 2 lies beside it in pack 2, then in pack 3.
STORY = [
    contact("i1", "k1", 1), contact("k1", "l1", 2), contact("k1", "c1", 3), contact("i1", "l2", 5),
    contact("i1", "k2", 6), contact("i2", "k2", 6), contact("k2", "l3", 7), contact("k2", "c2", 8),
    contact("i2", "l4", 9), contact("i2", "k3", 10), contact("k3", "c3", 12),
]  # fmt: skip


def test_forward_from_a_case_to_every_later_case_of_its_pieces() -> None:
    after = found(STORY, "c1", forward=True)
    assert {"i1", "k1", "k2", "c2"} <= after
    assert after & {"c3", "l1"} == {"c3"}  # piece 2 lay in pack 2 with piece 1; load 1 was before the case


def test_back_from_a_case_to_what_came_before() -> None:
    assert found(STORY, "c2", forward=False) == {"k2", "i1", "i2", "l3", "l2", "k1", "l1", "c1"}
    assert "c3" not in found(STORY, "c2", forward=False, turns=None)


def test_a_load_hands_on_only_where_the_walk_begins_with_it() -> None:
    rows = [contact("k1", "l1", 2), contact("k2", "l1", 2), contact("k2", "c2", 3)]
    assert found(rows, "l1", forward=True) == {"k1", "k2", "c2"}
    assert found(rows, "k1", forward=True) == {"l1"}


def test_through_a_case_the_way_goes_on_by_turns() -> None:
    rows = [contact("k1", "c1", 1), contact("k2", "c1", 1), contact("k2", "c2", 2)]
    assert found(rows, "k1", forward=True, turns=0) == {"c1"}
    assert found(rows, "k1", forward=True, turns=1) == {"c1", "k2", "c2"}
    reached = walk([node("k1")], among(rows, forward=True), forward=True, turns=None)
    assert {n: row.turn for n, row in reached.items()}[node("c2")] == 1
    assert list(by_sort(reached, Sort.CASE)) == [1, 2]


def test_malformed_contacts_and_walks_are_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        Contacts(Sort.PIECE, Sort.PACK, [(1, 1, datetime(2026, 11, 24))])  # noqa: DTZ001
    with pytest.raises(ValueError, match="does not go into"):
        Contacts(Sort.CASE, Sort.PIECE, [])
    with pytest.raises(ValueError, match="fewer than 0"):
        walk([], among([], forward=True), forward=True, turns=-1)


def brute(rows: list[Contact], starts: set[Node], *, forward: bool, turns: int) -> dict[Node, tuple[int, datetime]]:
    """Over all rows again and again until nothing changes; times going back are turned round."""
    sign = 1 if forward else -1

    def number(at: datetime) -> float:
        return sign * (at - DAY).total_seconds()

    known = {(start, 0): float("-inf") for start in starts}
    changed = True
    while changed:
        changed = False
        for row in rows:
            met = number(row.at)
            for turn in range(turns + 1):
                steps = []
                inner, outer = known.get((row.inner, turn)), known.get((row.outer, turn))
                if inner is not None and inner <= met:
                    kept = inner if row.outer.sort is Sort.PACK and not forward else met
                    steps.append((row.outer, turn, kept))
                closed = row.outer.sort is Sort.LOAD and row.outer not in starts
                if outer is not None and not closed:
                    further = turn + (row.outer.sort is Sort.CASE and row.outer not in starts)
                    steps.append((row.inner, further, max(outer, met)))
                for thing, at_turn, at in steps:
                    if at_turn <= turns and at < known.get((thing, at_turn), float("inf")):
                        known[thing, at_turn] = at
                        changed = True
    best: dict[Node, tuple[int, float]] = {}
    for (thing, turn), at in sorted(known.items(), key=lambda pair: -pair[0][1]):
        best[thing] = (turn, at)
    bound = BEGINNING if forward else END
    return {
        thing: (turn, bound if at == float("-inf") else DAY + timedelta(seconds=sign * at))
        for thing, (turn, at) in best.items()
    }


NAMES = st.sampled_from([("i", "k"), ("i", "l"), ("k", "l"), ("k", "c")])
CONTACTS = st.builds(
    lambda kinds, inner, outer, hour: contact(f"{kinds[0]}{inner}", f"{kinds[1]}{outer}", hour),
    NAMES, st.integers(1, 4), st.integers(1, 4), st.integers(0, 9),
)  # fmt: skip
HISTORIES = st.lists(CONTACTS, max_size=20)
STARTS = st.sets(st.builds(lambda s, n: node(f"{s}{n}"), st.sampled_from("iklc"), st.integers(1, 4)), max_size=2)


@given(HISTORIES, STARTS, st.booleans(), st.integers(0, 3))
def test_the_walk_agrees_with_one_over_all_rows(
    rows: list[Contact], starts: set[Node], forward: bool, turns: int
) -> None:
    reached = walk(starts, among(rows, forward=forward), forward=forward, turns=turns)
    said = {thing: (row.turn, row.at) for thing, row in reached.items()}
    assert said == brute(rows, starts, forward=forward, turns=turns)


@given(HISTORIES, STARTS)
def test_more_turns_never_reach_less(rows: list[Contact], starts: set[Node]) -> None:
    few, many = (set(walk(starts, among(rows, forward=True), forward=True, turns=turns)) for turns in (1, None))
    assert few <= many
