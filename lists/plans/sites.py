"""Benches and machines of a site, and when they can be used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum

from lists.plans.calendars import NEVER_MIN, Closed, Shift, Spans, closed_spans, first_start, unmanned

LATEST_MIN = 100_000  # ten weeks; what lies beyond is a slip of the pen
MOST = 1_000  # benches, load units or uses in one count


class Stage(StrEnum):
    """What is done to a tray on its way to the shelf, in this order; cooling takes no bench and no machine."""

    PRECLEAN = "preclean"
    WASHER = "washer"
    ASSEMBLY = "assembly"
    STERILISER = "steriliser"


@dataclass(frozen=True, slots=True)
class Site:
    """Benches and machines of one site.

    Args:
        preclean_benches: how many trays can be pre-cleaned at once.
        assembly_benches: how many can be assembled at once.
        washer_capacity: load units of each washer.
        washers_free_at_min: from when each washer is free [min].
        steriliser_capacity: load units of each steriliser.
        sterilisers_free_at_min: from when each steriliser is free [min].
        washers_closed: when each washer is closed; a cycle does not cross a closed time. None = never.
        sterilisers_closed: the same of each steriliser.
        preclean_shifts: when how many people stand at the pre-clean benches; a tray is there only while somebody is
            at its place, the first places are manned first. None = every place round the clock.
        assembly_shifts: the same of the assembly benches.

    Raises:
        ValueError: a figure is out of range, or not every machine is named.
    """

    preclean_benches: int
    assembly_benches: int
    washer_capacity: int
    washers_free_at_min: tuple[int, ...]
    steriliser_capacity: int
    sterilisers_free_at_min: tuple[int, ...]
    washers_closed: tuple[tuple[Closed, ...], ...] | None = None
    sterilisers_closed: tuple[tuple[Closed, ...], ...] | None = None
    preclean_shifts: tuple[Shift, ...] | None = None
    assembly_shifts: tuple[Shift, ...] | None = None
    _closed: dict[Stage, tuple[Spans, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        names = ("preclean_benches", "assembly_benches", "washer_capacity", "steriliser_capacity")
        check_whole("a site", self, names, MOST)
        for name in ("washers_free_at_min", "sterilisers_free_at_min"):
            for minute in getattr(self, name):
                if not 0 <= minute <= LATEST_MIN:
                    raise refusal("a site", name, minute, f"0 to {LATEST_MIN} for each machine")
        closed: dict[Stage, tuple[Spans, ...]] = {}
        for stage, name in ((Stage.WASHER, "washers_closed"), (Stage.STERILISER, "sterilisers_closed")):
            times, machines = getattr(self, name), len(self.free_at_min(stage))
            if times is not None and len(times) != machines:
                raise refusal(
                    "a site", name, f"of {len(times)} machines", f"of {machines} machines, one list for each"
                )
            if times is not None:
                closed[stage] = tuple(closed_spans(of) for of in times)
        for stage, shifts in ((Stage.PRECLEAN, self.preclean_shifts), (Stage.ASSEMBLY, self.assembly_shifts)):
            if shifts is not None:
                closed[stage] = unmanned(shifts, self.benches(stage))
        object.__setattr__(self, "_closed", closed)

    def benches(self, stage: Stage) -> int:
        """Benches of pre-cleaning or assembly."""
        return self.preclean_benches if stage is Stage.PRECLEAN else self.assembly_benches

    def free_at_min(self, stage: Stage) -> tuple[int, ...]:
        """From when each machine of a batch stage is free."""
        return self.washers_free_at_min if stage is Stage.WASHER else self.sterilisers_free_at_min

    def has_calendar(self, stage: Stage) -> bool:
        """Whether its machines or benches are not there round the clock."""
        return stage in self._closed

    def closed(self, stage: Stage) -> tuple[Spans, ...]:
        """When each of its machines or places at the benches cannot be used."""
        return self._closed.get(stage) or ((),) * self.places(stage)

    def places(self, stage: Stage) -> int:
        """How many machines or places at benches it has."""
        return self.benches(stage) if stage in (Stage.PRECLEAN, Stage.ASSEMBLY) else len(self.free_at_min(stage))

    def free_from_min(self, stage: Stage) -> tuple[int, ...]:
        """From when each of its machines or places at the benches is free; they may be closed then."""
        return (0,) * self.benches(stage) if stage in (Stage.PRECLEAN, Stage.ASSEMBLY) else self.free_at_min(stage)

    def first_start(self, stage: Stage, minute: int, minutes: int) -> int:
        """When the first of them, otherwise idle, can start from a minute on what takes so long; it has one."""
        free = self.free_from_min(stage)
        if not self.has_calendar(stage):
            return max(minute, min(free))
        places = zip(self.closed(stage), free, strict=True)
        return min(NEVER_MIN, *(first_start(closed, max(minute, at), minutes) for closed, at in places))

    @property
    def round_the_clock(self) -> Site:
        """The same with nothing closed and somebody at every bench."""
        return replace(self, washers_closed=None, sterilisers_closed=None, preclean_shifts=None, assembly_shifts=None)

    def capacity(self, stage: Stage) -> int:
        """Load units of a machine of a batch stage."""
        return self.washer_capacity if stage is Stage.WASHER else self.steriliser_capacity


def check_whole(subject: str, thing: object, names: Iterable[str], most: int, *, least: int = 0) -> None:
    """Refuse a thing one of whose named figures is out of range."""
    for name in names:
        value = getattr(thing, name)
        if not least <= value <= most:
            raise refusal(subject, name, value, f"{least} to {most}")


def refusal(subject: str, name: str, value: object, expected: str) -> ValueError:
    """What is wrong with a thing."""
    return ValueError(f"Cannot plan {subject}: its {name} is {value}, must be {expected}.")
