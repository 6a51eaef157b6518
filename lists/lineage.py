"""Where a thing came from and where it went: a walk along recorded contacts that never runs against time.

A piece meets a pack when it is packed into it and a washer load when it is washed; a pack meets a steriliser
load and a case. Going forward a contact is followed only when it came later than what is being followed was
reached; going back only when it came earlier. A load hands on only where the walk begins with it: sharing a
machine with a thing is not a contact with it. Through a case the walk goes on to everything that was used
with it: that is one turn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

BEGINNING = datetime.min.replace(tzinfo=UTC)
END = datetime.max.replace(tzinfo=UTC)


class Sort(StrEnum):
    """What a node is."""

    PIECE = "piece"
    PACK = "pack"
    LOAD = "load"
    CASE = "case"


@dataclass(frozen=True, slots=True, order=True)
class Node:
    """A thing by its sort and key."""

    sort: Sort
    key: int


@dataclass(frozen=True, slots=True)
class Contact:
    """Two things that met.

    Args:
        inner: what was in the other: the piece of a pack, the piece or pack of a load, the pack of a case.
        outer: the pack, load or case.
        at: when they met, aware.

    Raises:
        ValueError: the time has no zone, or the sorts do not go into each other.
    """

    inner: Node
    outer: Node
    at: datetime

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("A contact needs a time with a zone.")
        if (self.inner.sort, self.outer.sort) not in MEET:
            raise ValueError(f"A {self.inner.sort} does not go into a {self.outer.sort}.")


MEET = frozenset({
    (Sort.PIECE, Sort.PACK), (Sort.PIECE, Sort.LOAD), (Sort.PACK, Sort.LOAD), (Sort.PACK, Sort.CASE),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reached:
    """How a thing was reached.

    Args:
        turn: how many cases lie between it and the beginning.
        at: the earliest moment going forward, the latest going back, by which it can matter.
        through: the thing that led to it; None for the beginning.
    """

    turn: int
    at: datetime
    through: Node | None


Fetch = Callable[[Iterable[Node]], Iterable[Contact]]
"""Every contact of some things, in a number of queries that does not grow with them."""


def walk(starts: Iterable[Node], fetch: Fetch, *, forward: bool, turns: int | None = 1) -> dict[Node, Reached]:
    """Everything that came after (or before) some things.

    Args:
        starts: where it begins.
        fetch: every contact of the things given, in one breadth.
        forward: where things went; else where they came from.
        turns: through so many cases the walk goes on; None for any number.

    Returns:
        By thing how it was reached, in the fewest turns and, of these, the best moment. The beginning is in it.

    Raises:
        ValueError: a negative number of turns.
    """
    if turns is not None and turns < 0:
        raise ValueError("A walk cannot take fewer than 0 turns.")
    bound = BEGINNING if forward else END
    begun = frozenset(starts)
    found = {node: Reached(0, bound, None) for node in begun}
    best: dict[tuple[Node, int], datetime] = {(node, 0): bound for node in begun}
    frontier: dict[tuple[Node, int], datetime] = dict(best)
    met: dict[Node, list[Contact]] = {}
    while frontier:
        new = {node for node, _ in frontier} - met.keys()
        met |= _by_thing(new, fetch(sorted(new)) if new else ())
        ahead: dict[tuple[Node, int], datetime] = {}
        for (node, turn), at in frontier.items():
            if node.sort is Sort.LOAD and node not in begun:
                continue
            for contact in met[node]:
                other, moment = _follow(node, contact, at, forward=forward)
                onward = turn + (node.sort is Sort.CASE and node not in begun)
                if moment is None or (turns is not None and onward > turns):
                    continue
                if not _improves(best, other, onward, moment, forward=forward):
                    continue
                best[other, onward] = ahead[other, onward] = moment
                known = found.get(other)
                if known is None or onward <= known.turn:
                    found[other] = Reached(onward, moment, node)
        frontier = ahead
    return found


def _by_thing(things: Iterable[Node], contacts: Iterable[Contact]) -> dict[Node, list[Contact]]:
    rows: dict[Node, list[Contact]] = {thing: [] for thing in things}
    for contact in contacts:
        for end in (contact.inner, contact.outer):
            if end in rows:
                rows[end].append(contact)
    return rows


def _follow(node: Node, contact: Contact, at: datetime, *, forward: bool) -> tuple[Node, datetime | None]:
    """The other end of a contact, and by which moment it is reached; None against time."""
    if node == contact.outer:
        return contact.inner, max(at, contact.at) if forward else min(at, contact.at)
    in_time = contact.at >= at if forward else contact.at <= at
    if not in_time:
        return contact.outer, None
    # Back from a piece to an earlier pack: whatever happened to the pack until then matters.
    into_pack = contact.outer.sort is Sort.PACK
    return contact.outer, at if into_pack and not forward else contact.at


def _improves(
    best: Mapping[tuple[Node, int], datetime], node: Node, turn: int, at: datetime, *, forward: bool
) -> bool:
    """Whether no walk of as many turns or fewer has reached a thing as well."""
    for fewer in range(turn + 1):
        known = best.get((node, fewer))
        if known is not None and (known <= at if forward else known >= at):
            return False
    return True


def by_sort(found: Mapping[Node, Reached], sort: Sort) -> dict[int, Reached]:
    """The things of one sort, by their keys, in order of the moment."""
    chosen = ((node, reached) for node, reached in found.items() if node.sort is sort)
    return {node.key: reached for node, reached in sorted(chosen, key=lambda pair: (pair[1].at, pair[0]))}
