"""Where a set stands on its way back to the shelf, and when it can be there."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from enum import StrEnum

from journal.findings import Finding
from lists.chain import Held


class Stage(StrEnum):
    """Where a set, or the piece that keeps it waiting, stands."""

    STERILE = "sterile"
    AWAITING_RELEASE = "awaiting release"
    IN_STERILISER = "in steriliser"
    ASSEMBLED = "assembled"
    INSPECTED = "inspected"
    CLEANED = "cleaned"
    IN_WASHER = "in washer"
    RETURNED = "returned"
    IN_USE = "in use"


@dataclass(frozen=True, slots=True)
class StageTimes:
    """How long each step takes as a rule [min], by the unit's policies; machine calendars are not asked.

    `fill_min`: until a load is full and starts. `biological_min`: until the result that an implant load waits for.

    Raises:
        ValueError: a time below zero.
    """

    preclean_min: int
    wash_min: int
    assemble_min: int
    sterilise_min: int
    cooling_min: int
    release_min: int
    move_min: int
    prepare_min: int
    return_min: int
    fill_min: int = 0
    biological_min: int = 0

    def __post_init__(self) -> None:
        for field in fields(self):
            if getattr(self, field.name) < 0:
                raise ValueError(f"Stage time {field.name} is {getattr(self, field.name)}, must be 0 or more.")

    def deadline(self, starts_at: datetime) -> datetime:
        """When a set must be sterile to be in the theatre, and ready there, before a start."""
        return starts_at - timedelta(minutes=self.prepare_min + self.move_min)

    def on_table(self, sterile_at: datetime) -> datetime:
        """When a set that is sterile then can be used."""
        return sterile_at + timedelta(minutes=self.prepare_min + self.move_min)


_TAIL = ("assemble_min", "sterilise_min", "cooling_min", "release_min")
_STEPS: dict[Stage, tuple[str, ...]] = {
    Stage.STERILE: (),
    Stage.AWAITING_RELEASE: ("cooling_min", "release_min"),
    Stage.IN_STERILISER: ("sterilise_min", "cooling_min", "release_min"),
    Stage.ASSEMBLED: ("sterilise_min", "cooling_min", "release_min"),
    Stage.INSPECTED: _TAIL,
    Stage.CLEANED: _TAIL,
    Stage.IN_WASHER: ("wash_min", *_TAIL),
    Stage.RETURNED: ("preclean_min", "wash_min", *_TAIL),
    Stage.IN_USE: ("return_min", "preclean_min", "wash_min", *_TAIL),
}
"""The steps that are left from each stage; the first of them may have begun."""
LOADS = {"wash_min": "washer", "sterilise_min": "steriliser"}
"""The steps of machines, which may wait until a load is full."""

NEXT: dict[Stage, str] = {
    Stage.STERILE: "Bring it to the theatre.",
    Stage.AWAITING_RELEASE: "Decide on its load.",
    Stage.IN_STERILISER: "Unload it when its cycle has ended.",
    Stage.ASSEMBLED: "Put it in the next steriliser load.",
    Stage.INSPECTED: "Assemble it.",
    Stage.CLEANED: "Inspect and assemble it.",
    Stage.IN_WASHER: "Unload the washer when its cycle has ended.",
    Stage.RETURNED: "Put it in the next washer load.",
    Stage.IN_USE: "Bring it back as soon as the case is over.",
}


def clock(moment: datetime, beside: datetime) -> str:
    """A moment as it is said beside another: the time, with the day where that is not the same."""
    return f"{moment:%H:%M}" if moment.date() == beside.date() else f"{moment:%a %d-%b-%Y %H:%M}"


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """A tray, a pack or a loose piece as the list sees it.

    Args:
        code: what a scanner reads on it.
        name: what a person calls it.
        kind: “tray”, “pack” or “piece”; only the first two can be allocated.
        serves: key of what it can serve (“template:AD”, “part:STENT-14-40”).
        stage: where it stands.
        where: the same in words, with the place.
        since: when the present step began, where it runs by itself (a cycle, cooling); else None.
        free_at: when the case that has it is expected to be over.
        use_by: end of its shelf life; None when it is not packed.
        sizes: labels of the barrels in it.
        stops: why it cannot serve at all.
        looks: what else to see to.
        pack: code of the tray's live pack; else empty.
        holds: the pieces in it; of what nobody is to get its barrels only.
        load: code of the load that it is in; else empty.
        held: an implant is in its load, whose biological result nobody knows yet.
        at_once: its next load starts full or not.
        closed: a set that takes no piece but its own.

    Raises:
        ValueError: a kind that is not known.
    """

    code: str
    name: str
    kind: str
    serves: str
    stage: Stage
    where: str
    since: datetime | None = None
    free_at: datetime | None = None
    use_by: datetime | None = None
    sizes: frozenset[str] = frozenset()
    stops: tuple[Finding, ...] = ()
    looks: tuple[Finding, ...] = ()
    pack: str = ""
    holds: tuple[Held, ...] = ()
    load: str = ""
    held: bool = False
    at_once: bool = False
    closed: bool = False

    def __post_init__(self) -> None:
        if self.kind not in ("tray", "pack", "piece"):
            raise ValueError(f"Whereabouts of a {self.kind} are not known.")


def ready_at(
    stage: Stage,
    *,
    now: datetime,
    times: StageTimes,
    since: datetime | None = None,
    free_at: datetime | None = None,
    held: bool = False,
    at_once: bool = False,
) -> datetime:
    """When something at a stage can be sterile and released, if it is taken on at once.

    A step that runs by itself since a known moment counts the time that has passed, and is never over
    before now; a step that waits for hands counts in full from now; a load that has not started waits until it is
    full. It ignores queues, shifts and the capacity of machines.

    Args:
        stage: where it stands.
        now: the moment of asking, aware.
        times: how long the steps take [min].
        since: when the present step began.
        free_at: when the case that has it is over; asked only in use.
        held: its load waits for the biological result too.
        at_once: its next load starts full or not.

    Returns:
        That moment; `now` for what is sterile.
    """
    steps = _durations(stage, times, running=since is not None, held=held, at_once=at_once)
    if not steps:
        return now
    return _ends(stage, steps[0], now, since, free_at) + sum(steps[1:], timedelta())


def _durations(stage: Stage, times: StageTimes, *, running: bool, held: bool, at_once: bool) -> list[timedelta]:
    """How long each step takes that is left, waiting for a full load included."""
    names = _STEPS[stage]
    waiting = [name for name in names if name in LOADS and not (running and name == names[0])][at_once:]
    cooling_min = max(times.cooling_min, times.biological_min if held else 0)
    return [
        timedelta(
            minutes=(cooling_min if name == "cooling_min" else getattr(times, name))
            + (times.fill_min if name in waiting else 0)
        )
        for name in names
    ]


def next_load(stage: Stage, *, now: datetime, times: StageTimes) -> tuple[str, datetime] | None:
    """Which kind of machine something goes into next, and when it can at the earliest; None for none."""
    names = _STEPS[stage]
    first = next((place for place, name in enumerate(names) if name in LOADS), None)
    if first is None:
        return None
    before = sum((getattr(times, name) for name in names[:first]), 0)
    return LOADS[names[first]], now + timedelta(minutes=before)


def first_step_ends(
    stage: Stage,
    *,
    now: datetime,
    times: StageTimes,
    since: datetime | None = None,
    free_at: datetime | None = None,
) -> datetime:
    """When the present step of something that is not sterile yet ends; arguments as of `ready_at`."""
    return _ends(stage, timedelta(minutes=getattr(times, _STEPS[stage][0])), now, since, free_at)


def _ends(stage: Stage, step: timedelta, now: datetime, since: datetime | None, free_at: datetime | None) -> datetime:
    begins = max(now, free_at) if free_at is not None and stage is Stage.IN_USE else now
    return begins + step if since is None else max(now, since + step)
