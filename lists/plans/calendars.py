"""When a machine or a place at a bench can be used: closed times and shifts, and the first start between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

NEVER_MIN = 10**9  # beyond every day; what starts then does not start

Spans = tuple[tuple[int, int], ...]  # rising, apart from each other, end not counted [min]


@dataclass(frozen=True, slots=True)
class Closed:
    """A time in which a machine starts nothing and finishes nothing.

    Args:
        start_min: from then on [min].
        end_min: until then [min].

    Raises:
        ValueError: the end is not after the start.
    """

    start_min: int
    end_min: int

    def __post_init__(self) -> None:
        _check("a closed time", self.start_min, self.end_min)


@dataclass(frozen=True, slots=True)
class Shift:
    """A time in which people stand at a bench.

    Args:
        start_min: from then on [min].
        end_min: until then [min].
        hands: how many of them.

    Raises:
        ValueError: the end is not after the start.
    """

    start_min: int
    end_min: int
    hands: int

    def __post_init__(self) -> None:
        _check("a shift", self.start_min, self.end_min)


def closed_spans(times: Iterable[Closed]) -> Spans:
    """Closed times of one machine, those that meet made one."""
    return merged((time.start_min, time.end_min) for time in times)


def unmanned(shifts: Sequence[Shift], places: int) -> tuple[Spans, ...]:
    """When nobody is at each of the places; the first are manned first, and whoever leaves hands his place on."""
    changes = sorted({minute for shift in shifts for minute in (shift.start_min, shift.end_min)})
    edges = [0, *changes, NEVER_MIN]
    hands = [sum(shift.hands for shift in shifts if shift.start_min <= edge < shift.end_min) for edge in edges]
    return tuple(
        merged((edges[step], edges[step + 1]) for step in range(len(edges) - 1) if hands[step] <= place)
        for place in range(places)
    )


def blocked(spans: Spans, until_min: int) -> Spans:
    """The same, and closed until then as well."""
    return merged([(0, until_min), *spans])


def first_start(closed: Spans, minute: int, minutes: int) -> int:
    """The first start from a minute on of what takes so long and must not cross a closed time.

    What takes no time is not bound by it.
    """
    if minutes:
        for start, end in closed:
            if minute < end and start < minute + minutes:
                minute = end
    return minute


def interchangeable(places: Sequence[Spans]) -> bool:
    """Whether it is enough to count how many places are there at a minute.

    So it is when a place that is there stays there until all are closed. Otherwise a step could find a place at each
    of its minutes, but not one for all of them.
    """

    def all_closed(minute: int) -> bool:
        return all(any(start <= minute < end for start, end in spans) for spans in places)

    starts = {start for spans in places for start, _ in spans}
    return all(start == 0 or all_closed(start) or all_closed(start - 1) for start in starts)


def merged(spans: Iterable[tuple[int, int]]) -> Spans:
    """Spans in any order, those that meet made one, empty ones left out."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        elif start < end:
            found.append((start, end))
    return tuple(found)


def _check(subject: str, start_min: int, end_min: int) -> None:
    if not 0 <= start_min < end_min:
        raise ValueError(f"Cannot plan {subject}: it is from {start_min} to {end_min}, must end after its start.")
