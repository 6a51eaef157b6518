"""What a day's plan goes by: cases, trays where they stand, machines and times; and the scenario that follows from it.

Facts carry moments, a scenario carries minutes. The facts of a day change only when something happens, so their
fingerprint tells whether a plan still stands on what it was made from.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import ceil, floor
from typing import Any

from lists.plans.calendars import Closed, Shift
from lists.plans.scenario import CaseDemand, Scenario, Template, Tray, TrayState
from lists.plans.sites import LATEST_MIN, Site
from lists.stages import Stage, StageTimes, first_step_ends, ready_at

ANY_PROGRAMME = "any"  # of a tray none of whose programmes is known
ENTRIES: Mapping[Stage, TrayState] = {
    Stage.STERILE: TrayState.STERILE,
    Stage.AWAITING_RELEASE: TrayState.STERILE,
    Stage.IN_STERILISER: TrayState.IN_STERILISER,
    Stage.ASSEMBLED: TrayState.PACKED,
    Stage.INSPECTED: TrayState.CLEANED,
    Stage.CLEANED: TrayState.CLEANED,
    Stage.IN_WASHER: TrayState.IN_WASHER,
    Stage.RETURNED: TrayState.DIRTY,
    Stage.IN_USE: TrayState.DIRTY,
}
"""Where a tray of a stage of readiness enters a plan."""
RUNS_BY_ITSELF = frozenset({Stage.AWAITING_RELEASE, Stage.IN_STERILISER, Stage.IN_WASHER, Stage.IN_USE})
"""The plan takes a tray of these on at the end of its present step, of any other at once."""


@dataclass(frozen=True, slots=True)
class DemandFact:
    """One tray that a case needs and does not have yet.

    Args:
        requirement: its number.
        wants: what it is, as a person says it.
        template: code of the template that will do.
        chosen: code of the tray that a person chose; only that one serves. Empty: any of the template.
        essential: the case is late without it; else it never makes another late.
    """

    requirement: int
    wants: str
    template: str
    chosen: str = ""
    essential: bool = True


@dataclass(frozen=True, slots=True)
class CaseFact:
    """An open case of the day.

    Args:
        code: its code.
        procedure: what is done, in words.
        theatre: where.
        starts_at: planned start, aware.
        duration_min: how long it takes [min].
        weight: what it counts when all its trays are there in time.
        demands: the trays that it needs and does not have.
        in_hand: how many it has already.

    Raises:
        ValueError: a start without a zone.
    """

    code: str
    procedure: str
    theatre: str
    starts_at: datetime
    duration_min: int
    weight: int
    demands: tuple[DemandFact, ...]
    in_hand: int = 0

    def __post_init__(self) -> None:
        if self.starts_at.tzinfo is None:
            raise ValueError(f"Cannot plan case {self.code}: its start has no zone, must have one.")


@dataclass(frozen=True, slots=True)
class TrayFact:
    """A tray in service, where readiness sees it.

    Args:
        code: its code.
        name: what a person calls it.
        template: code of its template.
        stage: where it stands.
        where: the same in words.
        since: when its present step began, where that runs by itself.
        free_at: when the case that has it, or is to get it first, is over.
        stopped: why it cannot serve at all; empty when it can.
        held: its load waits for the biological result of an implant.
    """

    code: str
    name: str
    template: str
    stage: Stage
    where: str
    since: datetime | None = None
    free_at: datetime | None = None
    stopped: str = ""
    held: bool = False


@dataclass(frozen=True, slots=True)
class MachineFact:
    """A machine in service.

    Args:
        code: its code.
        name: what a person calls it.
        washes: a washer; else a steriliser.
        capacity: trays in one load.
        running_since: when its running load started.
        building: whether a load with something in it waits to be started.
        closed: planned closures, from when to when.
    """

    code: str
    name: str
    washes: bool
    capacity: int
    running_since: datetime | None = None
    building: bool = False
    closed: tuple[tuple[datetime, datetime], ...] = ()


@dataclass(frozen=True, slots=True)
class DayFacts:
    """All that the plan of a day goes by.

    Args:
        day: the day.
        cases: its open cases, by start.
        trays: trays in service of the templates that they need, by code.
        machines: machines in service, by name.
        programmes: steriliser programme of each template, by its code.
        times: how long the steps take [min].
        preclean_benches: how many trays can be pre-cleaned at once.
        assembly_benches: how many can be assembled at once.
        uses_per_tray: how many cases of a day a tray may serve.
        careful: whether the times are those that eight of ten keep.
        hours: full hours of the day at which sterile services open and close; the close is on the next day where it
            is not after the opening. Round the clock: 0 and 24.
    """

    day: date
    cases: tuple[CaseFact, ...]
    trays: tuple[TrayFact, ...]
    machines: tuple[MachineFact, ...]
    programmes: Mapping[str, str]
    times: StageTimes
    preclean_benches: int
    assembly_benches: int
    uses_per_tray: int
    careful: bool = False
    hours: tuple[int, int] = (0, 24)

    def document(self) -> dict[str, Any]:
        """As plain values: each case, tray, machine and number under its name."""
        return {
            "cases": {case.code: _plain(asdict(case)) for case in self.cases},
            "trays": {tray.code: _plain(asdict(tray)) for tray in self.trays},
            "machines": {machine.code: _plain(asdict(machine)) for machine in self.machines},
            "programmes": dict(self.programmes),
            "numbers": {
                **asdict(self.times),
                "preclean_benches": self.preclean_benches,
                "assembly_benches": self.assembly_benches,
                "uses_per_tray": self.uses_per_tray,
                "opens_hour": self.hours[0],
                "closes_hour": self.hours[1],
            },
        }

    @property
    def fingerprint(self) -> str:
        """The same as long as nothing that the plan goes by has changed."""
        text = json.dumps([self.day.isoformat(), self.careful, self.document()], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """A scenario, and what its numbers stand for.

    Args:
        scenario: the day in minutes.
        origin: the moment of minute 0, in UTC.
        cases: the case and the demand behind each case of the scenario, by its number.
        trays: the tray behind each tray of the scenario, by its number.
        washers: names of the washers, by position.
        sterilisers: names of the sterilisers, by position.
    """

    scenario: Scenario
    origin: datetime
    cases: tuple[tuple[CaseFact, DemandFact], ...]
    trays: tuple[TrayFact, ...]
    washers: tuple[str, ...]
    sterilisers: tuple[str, ...]


def scenario_of(facts: DayFacts, *, now: datetime) -> PlannedDay:
    """The day as a scenario, as it is at a moment.

    Minutes are counted from the midnight before `now`, in its zone, and none is planned before `now`. Each tray that a
    case needs is a case of the scenario with the case's start; those that it cannot do without stand or fall together,
    and its weight counts once. A tray that a person chose is a template of its own, which that demand alone prefers;
    the demands that leave the choice accept it too, after their own.

    Args:
        facts: what the plan goes by.
        now: the moment of asking, aware, in the unit's time zone.

    Raises:
        ValueError: `now` has no zone, or the day lies too far ahead.
    """
    if now.tzinfo is None:
        raise ValueError("Cannot plan a day: the moment of asking has no zone, must have one.")
    origin = now.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
    demands = tuple((case, demand) for case in facts.cases for demand in case.demands)
    kinds = _Kinds.of(facts, [demand for _, demand in demands])
    washers, sterilisers = ([one for one in facts.machines if one.washes is washes] for washes in (True, False))
    times, manned = facts.times, _manned(facts, now, origin)
    scenario = Scenario(
        templates=tuple(
            Template(number, times.preclean_min, times.assemble_min, facts.programmes.get(template, ANY_PROGRAMME))
            for number, (template, _) in enumerate(kinds.numbers)
        ),
        trays=tuple(_tray(number, tray, kinds, facts, (origin, now)) for number, tray in enumerate(facts.trays)),
        cases=tuple(_case(number, demands, kinds, origin) for number in range(len(demands))),
        sites=(
            Site(
                facts.preclean_benches,
                facts.assembly_benches,
                *_machines(washers, times.wash_min, origin, now),
                *_machines(sterilisers, times.sterilise_min, origin, now),
                washers_closed=_closed(washers, manned, origin),
                sterilisers_closed=_closed(sterilisers, manned, origin),
                preclean_shifts=_shifts(manned, facts.preclean_benches),
                assembly_shifts=_shifts(manned, facts.assembly_benches),
            ),
        ),
        washer_min=times.wash_min,
        programme_min=dict.fromkeys([*facts.programmes.values(), ANY_PROGRAMME], times.sterilise_min),
        cooling_min=times.cooling_min + times.release_min,
        implant_hold_min=0,
        move_same_site_min=times.move_min,
        move_other_site_min=times.move_min,
        prepare_min=times.prepare_min,
        return_min=times.return_min,
        uses_per_tray=facts.uses_per_tray,
        late_cases=True,
    )
    names = (tuple(machine.name for machine in group) for group in (washers, sterilisers))
    return PlannedDay(scenario, origin, demands, facts.trays, *names)


@dataclass(frozen=True, slots=True)
class _Kinds:
    """Numbers of templates: one for each template, and one for each tray that a person chose."""

    numbers: Mapping[tuple[str, str], int]

    @classmethod
    def of(cls, facts: DayFacts, demands: Iterable[DemandFact]) -> _Kinds:
        wanted = {demand.chosen for demand in demands}
        plain = {(tray.template, "") for tray in facts.trays} | {(demand.template, "") for demand in demands}
        own = [(tray.template, tray.code) for tray in facts.trays if tray.code in wanted]
        return cls({kind: number for number, kind in enumerate([*sorted(plain), *own])})

    def of_tray(self, tray: TrayFact) -> int:
        return self.numbers.get((tray.template, tray.code), self.numbers[tray.template, ""])

    def that_serve(self, demand: DemandFact) -> tuple[int, ...]:
        own = {code: number for (template, code), number in self.numbers.items() if template == demand.template}
        if demand.chosen and demand.chosen in own:
            return (own[demand.chosen],)
        return tuple(own.values())  # what nobody chose stands first


def _case(number: int, demands: Sequence[tuple[CaseFact, DemandFact]], kinds: _Kinds, origin: datetime) -> CaseDemand:
    """A demand; those that a case cannot do without stand or fall together, and the first has its weight."""
    case, demand = demands[number]
    essential = [place for place, (other, one) in enumerate(demands) if other.code == case.code and one.essential]
    weight = case.weight if number in essential[:1] else 0
    start_min = max(0, _minute(case.starts_at, origin))
    together = essential[0] if number in essential and len(essential) > 1 else None
    return CaseDemand(number, 0, start_min, case.duration_min, weight, kinds.that_serve(demand), together)


def _tray(number: int, tray: TrayFact, kinds: _Kinds, facts: DayFacts, since: tuple[datetime, datetime]) -> Tray:
    """A tray where its present step ends; one that cannot serve is quarantined without end."""
    origin, now = since
    if tray.stopped:
        return Tray(number, kinds.of_tray(tray), 0, TrayState.QUARANTINED)
    if tray.held:
        ready = ready_at(tray.stage, now=now, times=facts.times, since=tray.since, held=True)
        return Tray(number, kinds.of_tray(tray), 0, TrayState.STERILE, _minute(ready, origin))
    free = now
    if tray.stage in RUNS_BY_ITSELF:
        free = first_step_ends(tray.stage, now=now, times=facts.times, since=tray.since, free_at=tray.free_at)
    if tray.stage is Stage.AWAITING_RELEASE:
        free += timedelta(minutes=facts.times.release_min)
    return Tray(number, kinds.of_tray(tray), 0, ENTRIES[tray.stage], _minute(free, origin))


def _machines(
    machines: Sequence[MachineFact], cycle_min: int, origin: datetime, now: datetime
) -> tuple[int, tuple[int, ...]]:
    """What the least of them holds, and from when each is free.

    That is after its running load, and after the one that is being built for it, which leaves as soon as it can.
    """
    cycle = timedelta(minutes=cycle_min)
    free = []
    for machine in machines:
        at = now if machine.running_since is None else max(now, machine.running_since + cycle)
        free.append(_minute(at + cycle if machine.building else at, origin))
    return min((machine.capacity for machine in machines), default=0), tuple(free)


def _manned(facts: DayFacts, now: datetime, origin: datetime) -> tuple[tuple[int, int], ...] | None:
    """When sterile services are open, until the day after the one that is planned; None = round the clock [min]."""
    opens, closes = facts.hours
    if facts.hours == (0, 24) or opens == closes:
        return None
    spans = []
    for later in range(-1, (facts.day - now.date()).days + 2):
        midnight = datetime.combine(now.date() + timedelta(days=later), time(), now.tzinfo)
        start = midnight + timedelta(hours=opens)  # by the clock on the wall
        end = midnight + timedelta(hours=closes if closes > opens else closes + 24)
        spans.append((max(0, _minute(start, origin)), _minute(end, origin)))
    return tuple(span for span in spans if span[0] < span[1])


def _closed(
    machines: Sequence[MachineFact], manned: Sequence[tuple[int, int]] | None, origin: datetime
) -> tuple[tuple[Closed, ...], ...] | None:
    """Planned closures, and the hours in which nobody is there; None where there are none."""
    if manned is None and not any(machine.closed for machine in machines):
        return None
    ends = [0, *(end for _, end in manned)] if manned is not None else []
    starts = [*(start for start, _ in manned), LATEST_MIN] if manned is not None else []
    nobody = list(zip(ends, starts, strict=True))
    planned = [
        [(_floor(start, origin), _minute(end, origin)) for start, end in machine.closed] for machine in machines
    ]
    spans = [[(max(0, start), min(end, LATEST_MIN)) for start, end in [*nobody, *of]] for of in planned]
    return tuple(tuple(Closed(start, end) for start, end in of if start < end) for of in spans)


def _shifts(manned: Sequence[tuple[int, int]] | None, hands: int) -> tuple[Shift, ...] | None:
    return None if manned is None else tuple(Shift(start, end, hands) for start, end in manned)


def _floor(moment: datetime, origin: datetime) -> int:
    return floor((moment.astimezone(UTC) - origin) / timedelta(minutes=1))


def _minute(moment: datetime, origin: datetime) -> int:
    """Whole minutes from the origin, the begun one counted; clocks that are put on or back do not matter."""
    return ceil((moment.astimezone(UTC) - origin) / timedelta(minutes=1))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return str(value) if isinstance(value, Stage) else value
