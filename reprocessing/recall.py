"""Which loads of a machine a positive biological indicator calls back, by the policy of the unit.

Sources: CDC Guideline for Disinfection and Sterilization in Healthcare Facilities 2008, monitoring of
sterilisers and its table 12 (category II); ANSI/AAMI ST79, as quoted in training text (second hand).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

REPEATS = 3
"""Consecutive cycles whose biological indicators must be negative before the machine is used again.
CDC Guideline 2008, table 12."""


class Biology(StrEnum):
    """What the biological indicators of a cycle say."""

    NONE = "none read"
    NEGATIVE = "negative"
    POSITIVE = "positive"


@dataclass(frozen=True, slots=True)
class Policy:
    """How far a positive indicator reaches.

    Args:
        name: as a person calls it.
        waits_for_repeat: the first positive calls back implant loads only, a repeated one everything.
        rule: the rule in words.
        source: where it comes from.
    """

    name: str
    waits_for_repeat: bool
    rule: str
    source: str


STRICT = Policy(
    "every positive",
    waits_for_repeat=False,
    rule="Each positive indicator calls back every load after the last negative one, up to the next negative one.",
    source="ANSI/AAMI ST79 as quoted in training text: confirm locally",
)
STEAM_REPEAT = Policy(
    "steam, on repeat",
    waits_for_repeat=True,
    rule="A first positive indicator calls back implant loads only; when a further one of the next three is "
    "positive, every load after the last negative one, up to the next negative one.",
    source="CDC Guideline 2008, table 12, category II",
)
NON_STEAM = Policy(
    "other than steam",
    waits_for_repeat=False,
    rule="Each positive indicator calls back every load after the last negative one, up to the next negative one.",
    source="CDC Guideline 2008, category II",
)


def policy_for(*, steam: bool, every_positive: bool) -> Policy:
    """The policy of a machine.

    Args:
        steam: it sterilises by steam.
        every_positive: the unit's setting for steam.
    """
    if not steam:
        return NON_STEAM
    return STRICT if every_positive else STEAM_REPEAT


@dataclass(frozen=True, slots=True)
class Cycle:
    """One cycle of a machine.

    Args:
        number: its place among the cycles of the machine.
        load: code of its load.
        biology: what its biological indicators say; a positive one outweighs a negative one.
        implant: the load holds an implant.

    Raises:
        ValueError: the load has no code.
    """

    number: int
    load: str
    biology: Biology
    implant: bool = False

    def __post_init__(self) -> None:
        if not self.load:
            raise ValueError("A cycle needs the code of its load.")


@dataclass(frozen=True, slots=True)
class Called:
    """A load that is called back, and why."""

    load: str
    why: str


@dataclass(frozen=True, slots=True)
class Scope:
    """What the indicators of a machine ask for.

    Args:
        called: loads to call back, in the order of their cycles.
        open_end: the last stretch has no negative indicator after it: later loads belong to it too.
        repeats_due: so many consecutive negative cycles are still wanted before the machine is used again.
    """

    called: tuple[Called, ...]
    open_end: bool
    repeats_due: int

    @property
    def next_steps(self) -> tuple[str, ...]:
        """What is to be done beside the recall, in order."""
        if not self.repeats_due:
            return ()
        cycles = "cycle" if self.repeats_due == 1 else "consecutive cycles"
        return (
            "Take the machine out of service.",
            f"Repeat the biological indicator in {self.repeats_due} {cycles}; none may be positive.",
            "Have the machine, its settings and the procedure looked at.",
        )


def scope_of(cycles: Iterable[Cycle], policy: Policy) -> Scope:
    """Which loads the positive indicators of a machine call back.

    Args:
        cycles: of one machine, in any order.
        policy: how far a positive indicator reaches.

    Returns:
        The loads with the reason of each. A cycle whose indicator is negative is never called back.

    Raises:
        ValueError: two cycles have the same number.

    Source:
        The policies' own sources. Where the repeat policy does not say how long a first positive is
        remembered, we take the three repeat cycles that it asks for.
    """
    rows = sorted(cycles, key=lambda cycle: cycle.number)
    if len({cycle.number for cycle in rows}) < len(rows):
        raise ValueError("Two cycles of a machine have the same number.")
    repeated = (
        _repeated(rows)
        if policy.waits_for_repeat
        else {cycle.number for cycle in rows if cycle.biology is Biology.POSITIVE}
    )
    called: list[Called] = []
    for stretch in _stretches(rows):
        positive = [cycle for cycle in stretch if cycle.biology is Biology.POSITIVE]
        if positive:
            everything = any(cycle.number in repeated for cycle in positive)
            called += _called(stretch, positive[0], everything=everything)
    last = _last_positive(rows)
    after = [] if last is None else [cycle for cycle in rows[last + 1 :] if cycle.biology is Biology.NEGATIVE]
    return Scope(
        tuple(called),
        open_end=last is not None and not after,
        repeats_due=0 if last is None else max(0, REPEATS - len(after)),
    )


def _stretches(rows: Sequence[Cycle]) -> list[list[Cycle]]:
    """The cycles between one negative indicator and the next."""
    stretches: list[list[Cycle]] = [[]]
    for cycle in rows:
        if cycle.biology is Biology.NEGATIVE:
            stretches.append([])
        else:
            stretches[-1].append(cycle)
    return stretches


def _repeated(rows: Sequence[Cycle]) -> set[int]:
    """Numbers of the positive cycles with another positive among the three read before or after them."""
    read = [cycle for cycle in rows if cycle.biology is not Biology.NONE]
    found: set[int] = set()
    for place, first in enumerate(read):
        further = [cycle for cycle in read[place + 1 : place + 1 + REPEATS] if cycle.biology is Biology.POSITIVE]
        if first.biology is Biology.POSITIVE and further:
            found |= {first.number, *(cycle.number for cycle in further)}
    return found


def _called(stretch: Iterable[Cycle], first: Cycle, *, everything: bool) -> list[Called]:
    called = []
    for cycle in stretch:
        if cycle.biology is Biology.POSITIVE and (everything or cycle.implant):
            called.append(Called(cycle.load, "its biological indicator is positive"))
        elif everything:
            side = "before" if cycle.number < first.number else "after"
            called.append(
                Called(cycle.load, f"no negative indicator between it and {first.load}, {side} which it ran")
            )
        elif cycle.implant:
            called.append(Called(cycle.load, f"it holds an implant, and the indicator of {first.load} is positive"))
    return called


def _last_positive(rows: Sequence[Cycle]) -> int | None:
    places = [place for place, cycle in enumerate(rows) if cycle.biology is Biology.POSITIVE]
    return places[-1] if places else None


def unsettled(cycles: Iterable[Cycle]) -> tuple[Cycle, ...]:
    """The cycles that the last positive indicator can reach, in order.

    Whatever ran before three consecutive negative indicators is settled by them; the last of the three stays
    as the bound.

    Args:
        cycles: of one machine, in any order.

    Returns:
        Those from that bound on; none when no indicator was positive.
    """
    rows = sorted(cycles, key=lambda cycle: cycle.number)
    last = _last_positive(rows)
    if last is None:
        return ()
    negatives = 0
    start = 0
    for place, cycle in enumerate(rows[:last]):
        if cycle.biology is Biology.NEGATIVE:
            negatives += 1
            if negatives >= REPEATS:
                start = place
        elif cycle.biology is Biology.POSITIVE:
            negatives = 0
    return tuple(rows[start:])
