"""When each tray is at which bench and in which load, at one site, for jobs that are given.

A list schedule: at each stage whatever is most urgent goes first. And the replay of an order that is given: everything
as early as that order and those loads allow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from lists.plans.calendars import first_start
from lists.plans.jobs import BENCHES, Job
from lists.plans.sites import Site, Stage

Arrivals = dict[int, int]  # minute by case
ANY = -1  # place of a run that may be at any of them


@dataclass(frozen=True, slots=True)
class Run:
    """One tray at a bench, or one load of a machine.

    Args:
        stage: what is done.
        place: which place of the bench or which machine, counted from 0.
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
            _at_benches(stage, site, waiting, arrivals)
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
            together, the one whose trays are there first comes first; where their place is given it stays.

    Returns:
        A timetable in which no run starts later than in `runs`, if those kept the rules.
    """
    arrivals = {job.case: job.release_min for job in jobs}
    minutes = {(job.case, stage): length for job in jobs for stage, length in job.route.stages}
    given, made = list(runs), []
    for stage in Stage:
        places = Places(site, stage)
        there = (
            (run.start_min, max(arrivals[case] for case in run.cases), run.cases, run.place)
            for run in given
            if run.stage is stage
        )
        for _, arrival, cases, place in sorted(there):
            run = places.taken(stage, arrival, minutes[cases[0], stage], cases, place=place)
            made.append(run)
            arrivals.update(dict.fromkeys(cases, run.end_min))
    return _timetable(made, jobs, arrivals)


def _timetable(runs: Iterable[Run], jobs: Iterable[Job], arrivals: Arrivals) -> Timetable:
    ready = {job.case: arrivals[job.case] + job.route.wait_min for job in jobs}
    return Timetable(tuple(runs), ready)


class Places:
    """The machines of a stage, or the places at its benches, and from when each is free."""

    def __init__(self, site: Site, stage: Stage) -> None:
        self.free = list(site.free_from_min(stage))
        self.closed = site.closed(stage)

    def first(self, minute: int, minutes: int, place: int = ANY) -> tuple[int, int]:
        """Where and when the first starts from a minute on what takes so long; of those, the one longest free."""
        places = range(len(self.free)) if place == ANY else (place,)
        start, _, place = min(
            (first_start(self.closed[one], max(minute, self.free[one]), minutes), self.free[one], one)
            for one in places
        )
        return start, place

    def taken(self, stage: Stage, minute: int, minutes: int, cases: tuple[int, ...], *, place: int = ANY) -> Run:
        """Take the first for a run from a minute on."""
        start, place = self.first(minute, minutes, place)
        self.free[place] = start + minutes
        return Run(stage, place, start, start + minutes, cases)


def _at_benches(
    stage: Stage, site: Site, waiting: Iterable[tuple[int, Job, int]], arrivals: Arrivals
) -> Iterable[Run]:
    places = Places(site, stage)
    coming = sorted((arrivals[job.case], latest, job.case, minutes) for latest, job, minutes in waiting)
    queue: list[tuple[int, int, int]] = []
    position = minute = 0
    while queue or position < len(coming):
        minute = places.first(minute if queue else max(minute, coming[position][0]), 1)[0]
        while position < len(coming) and coming[position][0] <= minute:
            heappush(queue, coming[position][1:])
            position += 1
        chosen = heappop(queue)
        if site.has_calendar(stage):  # before the end of a shift, what can be done by then
            heappush(queue, chosen)
            chosen = next((one for one in sorted(queue) if places.first(minute, one[2])[0] == minute), chosen)
            queue.remove(chosen)
            heapify(queue)
        yield places.taken(stage, minute, chosen[2], (chosen[1],))


def _in_machines(
    stage: Stage, site: Site, waiting: Sequence[tuple[int, Job, int]], arrivals: Arrivals, patience_min: int
) -> Iterable[Run]:
    places, capacity = Places(site, stage), site.capacity(stage)
    left = sorted(waiting, key=lambda entry: (entry[0], entry[1].case))
    while left:
        minute = places.first(min(arrivals[job.case] for _, job, _ in left), 1)[0]
        while True:
            here = [entry for entry in left if arrivals[entry[1].case] <= minute]
            members, leaves = _load(here, left, capacity, arrivals, minute, patience_min=patience_min, stage=stage)
            minute = places.first(leaves, members[0][2])[0]
            if minute <= leaves:
                break  # else the cycle would cross a closed time: it waits, and others may come by then
        cases = tuple(job.case for _, job, _ in members)
        left = [entry for entry in left if entry[1].case not in cases]
        yield places.taken(stage, max(arrivals[case] for case in cases), members[0][2], cases)


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
