"""A plan as the steps that are taken, in order, and the rounds of the trays that take them.

A round is one way of a tray to the shelf: the first from where it is when the day begins, each later one from the end
of the case that it served.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from lists.plans.calendars import Spans
from lists.plans.scenario import ALL_STAGES, STAGES_LEFT, Batch, CaseDemand, Plan, Scenario, Tray, Work
from lists.plans.sites import Stage

Line: TypeAlias = tuple[int, Stage, str]
"""Who may share a load, or take the next bench: site, stage, and the programme where the stage is the steriliser."""


@dataclass(frozen=True, slots=True)
class Round:
    """One way of a tray to the shelf.

    Args:
        tray: the tray.
        number: 0 for the first.
        stages: what is done to it, in order; none when it is past all stages.
        serves: the case that it is for; None when it is for none.
    """

    tray: Tray
    number: int
    stages: tuple[Stage, ...]
    serves: CaseDemand | None


@dataclass(frozen=True, slots=True)
class Step:
    """One tray at a bench, or one load of a machine, as planned.

    Args:
        line: where.
        start_min: planned start [min].
        minutes: how long it takes [min].
        rounds: positions of the rounds that take part, one at a bench.
        place: which machine, or which place at a bench that has shifts; None where it makes no difference.
    """

    line: Line
    start_min: int
    minutes: int
    rounds: tuple[int, ...]
    place: int | None = None

    @property
    def end_min(self) -> int:
        """Planned end [min]."""
        return self.start_min + self.minutes


@dataclass(frozen=True, slots=True)
class Course:
    """A plan that can be followed.

    Args:
        scenario: the day it is for.
        rounds: every round of the trays that the plan touches; those of a tray stand together, in order.
        steps: every step, after those that it waits for.
        serving: position of the round that serves a case, by the case's number; only of cases that have a tray.
    """

    scenario: Scenario
    rounds: tuple[Round, ...]
    steps: tuple[Step, ...]
    serving: Mapping[int, int]


def course(scenario: Scenario, plan: Plan) -> Course:
    """The steps of a plan and the rounds that take them.

    What the plan says of deadlines, and of what is ready or on time, is not asked: it follows from the steps. Whether
    the steps can start as planned is not seen here.

    Raises:
        ValueError: the plan names what the day does not have, leaves out a stage, or has a step that is not as long
            as the day says, or a load that no machine takes.
    """
    trays = {tray.id: tray for tray in scenario.trays}
    entries: list[Batch | Work] = [*plan.batches, *plan.work]
    entries.sort(key=_when)
    cases = _cases(scenario, plan)
    taken: dict[int, list[int]] = defaultdict(list)
    for position, entry in enumerate(entries):
        for tray_id in _members(entry):
            taken[tray_id].append(position)
    rounds: list[Round] = []
    takers: dict[int, list[int]] = defaultdict(list)
    for tray_id in dict.fromkeys((*taken, *cases)):
        if tray_id not in trays or not trays[tray_id].usable:
            found = "cannot be used that day" if tray_id in trays else "is not there"
            raise _refusal(f"tray {tray_id} {found}, must be one that can be used")
        at = [(position, entries[position].stage) for position in taken[tray_id]]
        for made, positions in _rounds(trays[tray_id], at, cases[tray_id]):
            for position in positions:
                takers[position].append(len(rounds))
            rounds.append(made)
    steps = [_step(scenario, entry, takers[position], rounds) for position, entry in enumerate(entries)]
    serving = {made.serves.id: position for position, made in enumerate(rounds) if made.serves}
    return Course(scenario, tuple(rounds), tuple(sorted(steps, key=lambda step: _order(step, rounds))), serving)


def closed_times(scenario: Scenario, line: Line) -> tuple[Spans, ...] | None:
    """When each bench or machine of a line is closed; None where all are there round the clock."""
    site, stage, _ = line
    return scenario.sites[site].closed(stage) if scenario.sites[site].has_calendar(stage) else None


def servers_free_at(scenario: Scenario, line: Line) -> tuple[int, ...]:
    """From when each bench or machine of a line is free [min]; sterilisers of a site serve all its programmes."""
    site, stage, _ = line
    if stage in (Stage.WASHER, Stage.STERILISER):
        return scenario.sites[site].free_at_min(stage)
    return (0,) * scenario.sites[site].benches(stage)


def _members(entry: Batch | Work) -> tuple[int, ...]:
    return (entry.tray,) if isinstance(entry, Work) else entry.trays


def _when(entry: Batch | Work) -> tuple[int, int, int]:
    return entry.start_min, entry.end_min, ALL_STAGES.index(entry.stage)


def _order(step: Step, rounds: Sequence[Round]) -> tuple[int, int, int, int]:
    """By start; what takes no time comes before what begins in the same minute."""
    latest = max(rounds[position].number for position in step.rounds)
    return step.start_min, step.end_min, latest, ALL_STAGES.index(step.line[1])


def _cases(scenario: Scenario, plan: Plan) -> dict[int, list[CaseDemand]]:
    """The cases of each tray that has any, by start."""
    known = {case.id: case for case in scenario.cases}
    found: dict[int, list[CaseDemand]] = defaultdict(list)
    seen: set[int] = set()
    for entry in plan.cases:
        if entry.case not in known or entry.case in seen:
            wrong = "twice, must be there once" if entry.case in seen else "not there, must be one of the day"
            raise _refusal(f"case {entry.case} is {wrong}")
        seen.add(entry.case)
        if entry.tray is not None:
            found[entry.tray].append(known[entry.case])
    for cases in found.values():
        cases.sort(key=lambda case: case.start_min)
    return found


def _rounds(
    tray: Tray, at: Sequence[tuple[int, Stage]], cases: Sequence[CaseDemand]
) -> list[tuple[Round, tuple[int, ...]]]:
    """The rounds of a tray, each with the positions of its steps."""
    made: list[tuple[Round, tuple[int, ...]]] = []
    left = list(at)
    while left or len(made) < len(cases):
        number = len(made)
        stages = ALL_STAGES if made else STAGES_LEFT[tray.state]
        mine, left = left[: len(stages)], left[len(stages) :]
        case = cases[number] if number < len(cases) else None
        for (_, stage), expected in zip(mine, stages, strict=False):
            if stage is not expected:
                raise _refusal(f"tray {tray.id} comes to the {stage}, must come to the {expected} first")
        if case and len(mine) < len(stages):
            raise _refusal(f"tray {tray.id} skips the {stages[len(mine)]} before case {case.id}, must pass it")
        if number > len(cases):
            raise _refusal(f"tray {tray.id} has round {number + 1} after {len(cases)} cases, must have a case between")
        positions = tuple(position for position, _ in mine)
        made.append((Round(tray, number, stages[: len(mine)], case), positions))
    return made


def _step(scenario: Scenario, entry: Batch | Work, takers: Sequence[int], rounds: Sequence[Round]) -> Step:
    name = f"what the {entry.stage} does at {entry.start_min} min"
    if not takers:
        raise _refusal(f"{name} is for no tray, must be for one at least")
    members = [rounds[position] for position in takers]
    first = members[0].tray
    minutes = scenario.stage_min(first, entry.stage)
    programmes = {scenario.template_of(made.tray).programme for made in members}
    if len({made.tray.site for made in members}) > 1:
        raise _refusal(f"{name} is for trays of several sites, must be for those of one")
    if entry.stage is Stage.STERILISER and len(programmes) > 1:
        raise _refusal(f"{name} is of {len(programmes)} programmes, must be of one")
    if entry.end_min - entry.start_min != minutes:
        raise _refusal(f"{name} is {entry.end_min - entry.start_min} min long, must be {minutes}")
    line = (first.site, entry.stage, programmes.pop() if entry.stage is Stage.STERILISER else "")
    if not servers_free_at(scenario, line):
        raise _refusal(f"{name} is at site {first.site}, must be where there is a {entry.stage}")
    if isinstance(entry, Batch):
        capacity = scenario.sites[first.site].capacity(entry.stage)
        units = sum(scenario.template_of(made.tray).load_units for made in members)
        if units > capacity:
            raise _refusal(f"{name} is {units} units, must be {capacity} or fewer")
    place = None
    if scenario.sites[first.site].has_calendar(entry.stage):
        place = entry.machine if isinstance(entry, Batch) else entry.place
        if place is None or place >= len(servers_free_at(scenario, line)):
            raise _refusal(f"{name} is at place {place}, must be at one of the site")
    return Step(line, entry.start_min, minutes, tuple(takers), place)


def _refusal(sentence: str) -> ValueError:
    return ValueError(f"Cannot follow the plan: {sentence}. Plan the day anew.")
