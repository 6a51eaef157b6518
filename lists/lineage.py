"""Where a thing came from and where it went: a walk along recorded contacts that never runs against time.

A piece meets a pack when it is packed into it and a washer load when it is washed; a pack meets a steriliser
load and a case. Going forward a contact is followed only when it came later than what is being followed was
reached; going back only when it came earlier. A load hands on only where the walk begins with it: sharing a
machine with a thing is not a contact with it. Through a case the walk goes on to everything that was used
with it: that is one turn.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from heapq import heapify, heappop, heappush
from typing import NamedTuple

BEGINNING = datetime.min.replace(tzinfo=UTC)
END = datetime.max.replace(tzinfo=UTC)
NEAREST, FARTHEST = timedelta(0), timedelta.max


class Sort(StrEnum):
    """What a node is."""

    PIECE = "piece"
    PACK = "pack"
    LOAD = "load"
    CASE = "case"


class Node(NamedTuple):
    """A thing by its sort and key."""

    sort: Sort
    key: int


INTO = frozenset({
    (Sort.PIECE, Sort.PACK), (Sort.PIECE, Sort.LOAD), (Sort.PACK, Sort.LOAD), (Sort.PACK, Sort.CASE),
})  # fmt: skip
"""What goes into what."""


@dataclass(frozen=True, slots=True)
class Contacts:
    """What things of one sort have met of another.

    Args:
        sort: of the things.
        other: of what they met: what they went into, or what went into them.
        rows: key of the thing, key of what it met, when (aware).

    Raises:
        ValueError: the sorts do not go into each other, or a time has no zone.
    """

    sort: Sort
    other: Sort
    rows: Sequence[tuple[int, int, datetime]]

    def __post_init__(self) -> None:
        if not {(self.sort, self.other), (self.other, self.sort)} & INTO:
            raise ValueError(f"A {self.sort} does not go into a {self.other}.")
        if any(at.tzinfo is None for _, _, at in self.rows):
            raise ValueError("A contact needs a time with a zone.")


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


Fetch = Callable[[Collection[Node], datetime], Iterable[Contacts]]
"""The contacts of some things, in a number of queries that does not grow with them: all with what went into them; of
what they went into at least those that came not before a moment (going back: not after it)."""


def walk(starts: Iterable[Node], fetch: Fetch, *, forward: bool, turns: int | None = 1) -> dict[Node, Reached]:
    """Everything that came after (or before) some things.

    Args:
        starts: where it begins.
        fetch: the contacts of the things given.
        forward: where things went; else where they came from.
        turns: through so many cases the walk goes on; None for any number.

    Returns:
        By thing how it was reached, in the fewest turns and, of these, the best moment. The beginning is in it.

    Raises:
        ValueError: a negative number of turns.
    """
    if turns is not None and turns < 0:
        raise ValueError("A walk cannot take fewer than 0 turns.")
    course = _Walk(map(_number, starts), fetch, forward=forward, turns=turns)
    course.run()
    return {
        _node(number): Reached(turn, course.moment(far), None if through is None else _node(through))
        for number, (turn, far, through) in course.found.items()
    }


_SORTS = tuple(Sort)
_PACK, _LOAD, _CASE = (_SORTS.index(sort) for sort in (Sort.PACK, Sort.LOAD, Sort.CASE))


def _number(node: Node) -> int:
    return node.key * len(_SORTS) + _SORTS.index(node.sort)


def _node(number: int) -> Node:
    key, sort = divmod(number, len(_SORTS))
    return Node(_SORTS[sort], key)


class _Walk:
    """A walk that is on its way. A thing is one number, and a moment is how far it is from where the walk begins.

    The nearest thing comes first, so that what is known of a thing seldom gets better afterwards; what is yet to be
    fetched waits until everything that can be followed without it has been.
    """

    def __init__(self, begun: Iterable[int], fetch: Fetch, *, forward: bool, turns: int | None) -> None:
        self.begun, self.fetch, self.forward, self.turns = frozenset(begun), fetch, forward, turns
        self.found: dict[int, tuple[int, timedelta, int | None]] = dict.fromkeys(self.begun, (0, NEAREST, None))
        self.best = [dict.fromkeys(self.begun, NEAREST)]  # by turn, by thing
        self.known: dict[int, timedelta] = {}
        self.inside: dict[int, list[tuple[timedelta, int]]] = {}
        self.around: dict[int, list[tuple[timedelta, int]]] = {}

    def far(self, at: datetime) -> timedelta:
        """How far a moment is from where the walk begins."""
        return at - BEGINNING if self.forward else END - at

    def moment(self, far: timedelta) -> datetime:
        """Which moment is so far from where the walk begins."""
        return BEGINNING + far if self.forward else END - far

    def run(self) -> None:
        """Follow what is known, fetch what is not, until nothing waits."""
        waiting = [(NEAREST, 0, number) for number in self.begun]
        while waiting:
            self._learn(waiting)
            ahead, waiting = waiting, []
            heapify(ahead)
            while ahead:
                far, turn, number = heappop(ahead)
                if self.best[turn][number] < far:
                    continue
                for reach, onward, other in self._steps(number, turn, far):
                    if not self._improves(other, onward, reach):
                        continue
                    self._keep(other, onward, reach, number)
                    if other % len(_SORTS) == _LOAD and other not in self.begun:
                        continue
                    if self.known.get(other, FARTHEST) <= reach:
                        heappush(ahead, (reach, onward, other))
                    else:
                        waiting.append((reach, onward, other))

    def _learn(self, waiting: Collection[tuple[timedelta, int, int]]) -> None:
        """Fetch the contacts of what waits, from the nearest moment of it on."""
        new = {number for far, _, number in waiting if self.known.get(number, FARTHEST) > far}
        since = min((far for far, _, number in waiting if number in new), default=FARTHEST)
        for number in new:
            self.inside[number], self.around[number], self.known[number] = [], [], since
        for some in self.fetch([_node(number) for number in sorted(new)], self.moment(since)) if new else ():
            into = self.around if (some.sort, some.other) in INTO else self.inside
            sort, other_sort, many = _SORTS.index(some.sort), _SORTS.index(some.other), len(_SORTS)
            for key, other, at in some.rows:
                into[key * many + sort].append((self.far(at), other * many + other_sort))
        for number in new:
            self.around[number].sort()

    def _steps(self, number: int, turn: int, far: timedelta) -> Iterator[tuple[timedelta, int, int]]:
        """What a thing leads to: how far it is reached, by which turn, the other thing."""
        onward = turn + (number % len(_SORTS) == _CASE and number not in self.begun)
        if self.turns is None or onward <= self.turns:
            for met, other in self.inside[number]:
                yield (met if met > far else far), onward, other
        around = self.around[number]
        for met, other in around[bisect_left(around, (far,)) :]:
            # Back from a piece to an earlier pack: whatever happened to the pack until then matters.
            yield (met if self.forward or other % len(_SORTS) != _PACK else far), turn, other

    def _improves(self, number: int, turn: int, far: timedelta) -> bool:
        """Whether no walk of as many turns or fewer has reached a thing as well."""
        for reached in self.best[: turn + 1]:
            known = reached.get(number)
            if known is not None and known <= far:
                return False
        return True

    def _keep(self, number: int, turn: int, far: timedelta, through: int) -> None:
        if turn == len(self.best):
            self.best.append({})
        self.best[turn][number] = far
        if number not in self.found or turn <= self.found[number][0]:
            self.found[number] = turn, far, through


def by_sort(found: Mapping[Node, Reached], sort: Sort) -> dict[int, Reached]:
    """The things of one sort, by their keys, in order of the moment."""
    chosen = ((node, reached) for node, reached in found.items() if node.sort is sort)
    return {node.key: reached for node, reached in sorted(chosen, key=lambda pair: (pair[1].at, pair[0]))}
