"""When each tray is at which bench and in which load, at one site, for jobs that are given.

A list schedule: at each stage whatever is most urgent goes first. And the replay of an order that is given: everything
as early as that order and those loads allow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush, heapreplace

from lists.plans.jobs import BENCHES, Job
from lists.plans.scenario import Site, Stage

Arrivals = dict[int, int]  # minute by case


@dataclass(frozen=True, slots=True)
class Run:
    """One tray at a bench, or one load of a machine.

    Args:
        stage: what is done.
        place: which bench or machine, counted from 0.
        start_min: its start.
        end_min: its end, the same for all of a load.
        cases: positions of the cases whose trays are in it.
    """

    stage: Stage
    place: int
    start_min: int
    end_min: int
    cases: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Timetable:
    """The runs of a site, and when the tray of each case is on the shelf."""

    runs: tuple[Run, ...]
    ready_min: Mapping[int, int]


def list_schedule(site: Site, jobs: Sequence[Job], *, patience_min: int) -> Timetable:
    """Schedule jobs by urgency: the latest start that keeps the deadline, then the position of the case.

    Args:
        site: benches and machines.
        jobs: what is to be done there.
        patience_min: how long a load that is not full waits for the next tray [min]; never so long that a tray
            already in it is late for that alone.

    Returns:
        A timetable that keeps every rule but the deadlines.
    """
    arrivals = {job.case: job.release_min for job in jobs}
    runs: list[Run] = []
    for stage in Stage:
        latest = {job.case: job.route.latest_min(job.deadline_min).get(stage) for job in jobs}
        waiting = [
            (minute, job, dict(job.route.stages)[stage]) for job in jobs if (minute := latest[job.case]) is not None
        ]
        made = (
            _at_benches(stage, site.benches(stage), waiting, arrivals)
            if stage in BENCHES
            else _in_machines(stage, site, waiting, arrivals, patience_min)
        )
        for run in made:
            runs.append(run)
            arrivals.update(dict.fromkeys(run.cases, run.end_min))
    return _timetable(runs, jobs, arrivals)


def replay(site: Site, jobs: Sequence[Job], runs: Iterable[Run]) -> Timetable:
    """The same runs in the same order, each as early as it can be.

    Args:
        site: benches and machines.
        jobs: what is to be done there.
        runs: each stage of each job once; the order of their starts counts, not the minutes; of those that start
            together, the one whose trays are there first comes first.

    Returns:
        A timetable in which no run starts later than in `runs`, if those kept the rules.
    """
    arrivals = {job.case: job.release_min for job in jobs}
    free = {stage: _free(site, stage) for stage in Stage}
    minutes = {(job.case, stage): length for job in jobs for stage, length in job.route.stages}
    given, made = list(runs), []
    for stage in Stage:
        there = (
            (run.start_min, max(arrivals[case] for case in run.cases), run.cases)
            for run in given
            if run.stage is stage
        )
        for _, arrival, cases in sorted(there):
            free_min, place = free[stage][0]
            start = max(free_min, arrival)
            end = start + minutes[cases[0], stage]
            heapreplace(free[stage], (end, place))
            made.append(Run(stage, place, start, end, cases))
            arrivals.update(dict.fromkeys(cases, end))
    return _timetable(made, jobs, arrivals)


def _timetable(runs: Iterable[Run], jobs: Iterable[Job], arrivals: Arrivals) -> Timetable:
    ready = {job.case: arrivals[job.case] + job.route.wait_min for job in jobs}
    return Timetable(tuple(runs), ready)


def _free(site: Site, stage: Stage) -> list[tuple[int, int]]:
    """A heap of when each bench or machine is free."""
    minutes = [0] * site.benches(stage) if stage in BENCHES else site.free_at_min(stage)
    free = [(minute, place) for place, minute in enumerate(minutes)]
    heapify(free)
    return free


def _at_benches(
    stage: Stage, benches: int, waiting: Iterable[tuple[int, Job, int]], arrivals: Arrivals
) -> Iterable[Run]:
    free = [(0, place) for place in range(benches)]
    coming = sorted((arrivals[job.case], latest, job.case, minutes) for latest, job, minutes in waiting)
    queue: list[tuple[int, int, int]] = []
    position = minute = 0
    while queue or position < len(coming):
        free_min, place = free[0]
        minute = max(minute, free_min)
        if not queue:
            minute = max(minute, coming[position][0])
        while position < len(coming) and coming[position][0] <= minute:
            heappush(queue, coming[position][1:])
            position += 1
        _, case, length = heappop(queue)
        heapreplace(free, (minute + length, place))
        yield Run(stage, place, minute, minute + length, (case,))


def _in_machines(
    stage: Stage, site: Site, waiting: Sequence[tuple[int, Job, int]], arrivals: Arrivals, patience_min: int
) -> Iterable[Run]:
    free, capacity = _free(site, stage), site.capacity(stage)
    left = sorted(waiting, key=lambda entry: (entry[0], entry[1].case))
    while left:
        free_min, place = free[0]
        minute = max(free_min, min(arrivals[job.case] for _, job, _ in left))
        here = [entry for entry in left if arrivals[entry[1].case] <= minute]
        members, minute = _load(here, left, capacity, arrivals, minute, patience_min=patience_min, stage=stage)
        length = members[0][2]
        heapreplace(free, (minute + length, place))
        cases = tuple(job.case for _, job, _ in members)
        left = [entry for entry in left if entry[1].case not in cases]
        yield Run(stage, place, minute, minute + length, cases)


def _load(
    here: Sequence[tuple[int, Job, int]],
    left: Sequence[tuple[int, Job, int]],
    capacity: int,
    arrivals: Arrivals,
    minute: int,
    *,
    patience_min: int,
    stage: Stage,
) -> tuple[list[tuple[int, Job, int]], int]:
    """The most urgent tray, those that fit beside it, and those worth waiting for; and when the load starts."""
    programme = here[0][1].route.programme

    def goes_with(job: Job) -> bool:
        return stage is Stage.WASHER or job.route.programme == programme

    members: list[tuple[int, Job, int]] = []
    room, latest = capacity, here[0][0]
    for entry in here:
        if goes_with(entry[1]) and entry[1].route.units <= room:
            members.append(entry)
            room -= entry[1].route.units
    until = min(minute + patience_min, max(latest, minute))
    coming = (entry for entry in left if minute < arrivals[entry[1].case] <= until)
    for entry in sorted(coming, key=lambda entry: (arrivals[entry[1].case], entry[0], entry[1].case)):
        if goes_with(entry[1]) and entry[1].route.units <= room:
            members.append(entry)
            room -= entry[1].route.units
            minute = arrivals[entry[1].case]
    return members, minute


def starts(runs: Iterable[Run]) -> Mapping[tuple[int, Stage], Run]:
    """The run of each case at each stage."""
    found: dict[tuple[int, Stage], Run] = {}
    for run in runs:
        found.update(dict.fromkeys(((case, run.stage) for case in run.cases), run))
    return found
