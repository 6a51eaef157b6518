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
) -> datetime:
    """When something at a stage can be sterile and released, if it is taken on at once.

    A step that runs by itself since a known moment counts the time that has passed, and is never over
    before now; a step that waits for hands counts in full from now. It ignores queues, shifts and the
    capacity of machines.

    Args:
        stage: where it stands.
        now: the moment of asking, aware.
        times: how long the steps take [min].
        since: when the present step began.
        free_at: when the case that has it is over; asked only in use.

    Returns:
        That moment; `now` for what is sterile.
    """
    steps = [timedelta(minutes=getattr(times, name)) for name in _STEPS[stage]]
    if not steps:
        return now
    ends = first_step_ends(stage, now=now, times=times, since=since, free_at=free_at)
    return ends + sum(steps[1:], timedelta())


def first_step_ends(
    stage: Stage,
    *,
    now: datetime,
    times: StageTimes,
    since: datetime | None = None,
    free_at: datetime | None = None,
) -> datetime:
    """When the present step of something that is not sterile yet ends; arguments as of `ready_at`."""
    step = timedelta(minutes=getattr(times, _STEPS[stage][0]))
    begins = max(now, free_at) if free_at is not None and stage is Stage.IN_USE else now
    return begins + step if since is None else max(now, since + step)
