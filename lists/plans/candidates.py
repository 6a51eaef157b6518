"""A choice of trays with its timetables: what it is worth, and how a choice that does not work out is mended."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from lists.plans.jobs import Assignment, Day, Job
from lists.plans.schedule import Timetable, list_schedule

SLACK_CAP_MIN = 120
PATIENCES_MIN = (0, 20, 45)

Worth = tuple[int, int, int]  # weight on time, least slack, moves below zero: greater is better


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plan in the making.

    Args:
        assignment: tray of each case on time.
        tables: timetable of each site.
        worth: what the plan is compared by.
    """

    assignment: Assignment
    tables: tuple[Timetable, ...]
    worth: Worth


def site_jobs(day: Day, assignment: Assignment) -> list[list[Job]]:
    """The jobs of each site, under a choice that each tray, alone, can keep."""
    jobs: list[list[Job]] = [[] for _ in day.scenario.sites]
    for tray, cases in day.served(assignment).items():
        jobs[day.site_of[tray]].extend(day.jobs(tray, cases))
    return jobs


def valued(day: Day, assignment: Assignment, tables: Sequence[Timetable]) -> Candidate:
    """A choice whose timetables keep every deadline, with its worth."""
    weight, moves, slack = 0, 0, SLACK_CAP_MIN
    for case, tray in enumerate(assignment):
        if tray is not None:
            weight += day.weight[case]
            moves += day.moves[case][tray]
            slack = min(slack, day.deadline_min[case][tray] - tables[day.site_of[tray]].ready_min[case])
    return Candidate(assignment, tuple(tables), (weight, slack, -moves))


def worked_out(
    day: Day, assignment: Assignment, *, known: Candidate | None = None, patiences: Sequence[int] = PATIENCES_MIN
) -> Candidate:
    """Schedule a choice of trays; where a deadline is missed, take cases out until none is.

    Args:
        day: the day.
        assignment: a choice that each tray, alone, can keep.
        known: a candidate whose timetables serve for the sites where nothing differs.
        patiences: how long loads may wait for more trays, each tried, the best of them kept [min].
    """
    assignment = day.whole(assignment)
    jobs, left = site_jobs(day, assignment), list(assignment)
    differs = None if known is None else _differing_sites(day, assignment, known.assignment)
    tables = []
    for site in range(len(day.scenario.sites)):
        if known is not None and differs is not None and site not in differs:
            tables.append(known.tables[site])
            continue
        table, dropped = min(
            (_kept(day, site, jobs[site], patience) for patience in patiences),
            key=lambda found: _loss(day, jobs[site], *found),
        )
        tables.append(table)
        for case in dropped:
            left[case] = None
    stands = day.whole(tuple(left))
    if stands != tuple(left):  # at another site, what was taken out here is still worked on
        return worked_out(day, stands, patiences=patiences)
    return valued(day, stands, tables)


def _differing_sites(day: Day, one: Assignment, other: Assignment) -> set[int]:
    sites: set[int] = set()
    for tray, former in zip(one, other, strict=True):
        if tray != former:
            sites.update(day.site_of[either] for either in (tray, former) if either is not None)
    return sites


def _loss(day: Day, jobs: Iterable[Job], table: Timetable, dropped: Sequence[int]) -> tuple[int, int]:
    """Weight that was taken out, and least slack of the rest below zero."""
    deadlines = {job.case: job.deadline_min for job in jobs}
    slacks = (deadlines[case] - ready for case, ready in table.ready_min.items())
    return sum(day.stake[case] for case in dropped), -min(slacks, default=SLACK_CAP_MIN)


def _kept(day: Day, site: int, jobs: Sequence[Job], patience_min: int) -> tuple[Timetable, list[int]]:
    """The timetable of as much as can be in time, and the cases taken out for it."""
    dropped: list[int] = []
    while True:
        table = list_schedule(day.scenario.sites[site], jobs, patience_min=patience_min)
        late = [job for job in jobs if table.ready_min[job.case] > job.deadline_min]
        if not late:
            return table, dropped
        lightest = min(late, key=lambda job: (day.stake[job.case], job.deadline_min, job.case))
        for out in [job for job in jobs if job.case in day.mates[lightest.case]]:
            dropped.append(out.case)
            jobs = _without(day, jobs, out)


def _without(day: Day, jobs: Sequence[Job], out: Job) -> list[Job]:
    """The jobs when one is taken out: what its tray does later may begin earlier."""
    cases: Mapping[int, list[int]] = defaultdict(list)
    kept = [job for job in jobs if job.tray != out.tray]
    for job in jobs:
        if job.tray == out.tray and job.case != out.case:
            cases[job.tray].append(job.case)
    for tray, served in cases.items():
        kept.extend(day.jobs(tray, sorted(served, key=day.by_start.index)))
    return kept
