"""Late cases after the plan: when their trays could be ready with what benches and machines have left.

The plan stays as it is to the minute. What is late goes, the earliest due first, into the gaps that it leaves, and
into its loads that have room.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from lists.plans.calendars import NEVER_MIN, Spans, blocked, first_start, merged
from lists.plans.candidates import Candidate
from lists.plans.jobs import BENCHES, Day, Route
from lists.plans.schedule import Run
from lists.plans.sites import Stage


@dataclass(frozen=True, slots=True)
class Afterwards:
    """A late case, the tray that could be ready first, and what is done to it; a run at the time of a load joins it.

    Args:
        case: position of the case.
        tray: position of the tray.
        ready_min: when it is on its shelf.
        runs: what is done to it, in order.
    """

    case: int
    tray: int
    ready_min: int
    runs: tuple[Run, ...]


def afterwards(day: Day, plan: Candidate) -> list[Afterwards]:
    """The late cases that some tray could still serve, in the order in which they are due.

    A tray is taken as it is, or once it comes back from the last of its cases on time.
    """
    gaps = {site: _Gaps(day, plan, site) for site in range(len(day.scenario.sites))}
    served = {tray: list(cases) for tray, cases in day.served(plan.assignment).items()}
    late = [case for case, tray in enumerate(plan.assignment) if tray is None and day.moves[case]]
    found, gone = [], set()
    for case in sorted(late, key=lambda case: (min(day.deadline_min[case].values()), case)):
        ways = []
        for tray in day.moves[case]:
            cases = served.get(tray, [])
            route, release = day.way(tray, cases[-1] if cases else None)
            if route is None or tray in gone or len(cases) >= day.scenario.uses_per_tray:
                continue
            runs = gaps[day.site_of[tray]].runs(case, route, release)
            ready = (runs[-1].end_min if runs else release) + route.wait_min
            if ready < NEVER_MIN:
                ways.append((ready - day.deadline_min[case][tray], day.moves[case][tray], tray, ready, route, runs))
        if ways:
            _, _, tray, ready, route, runs = min(ways, key=lambda way: way[:3])
            gaps[day.site_of[tray]].take(route, runs)
            gone.add(tray)
            found.append(Afterwards(case, tray, ready, tuple(runs)))
    return found


class _Gaps:
    """What the benches and machines of a site have left."""

    def __init__(self, day: Day, plan: Candidate, site: int) -> None:
        self.site = day.scenario.sites[site]
        self.busy: dict[Stage, list[Spans]] = {
            stage: [
                blocked(closed, free)
                for closed, free in zip(self.site.closed(stage), self.site.free_from_min(stage), strict=True)
            ]
            for stage in Stage
        }
        self.room: dict[tuple[Stage, str], dict[tuple[int, int], int]] = defaultdict(dict)  # by start and machine
        for run in plan.tables[site].runs:
            trays = [tray for case in run.cases if (tray := plan.assignment[case]) is not None]
            template = day.scenario.template_of(day.scenario.trays[trays[0]])
            units = [day.scenario.template_of(day.scenario.trays[tray]).load_units for tray in trays]
            self._enter(run, template.programme, sum(units))

    def runs(self, case: int, route: Route, release_min: int) -> list[Run]:
        """The way of one more tray, each step as early as there is room for it."""
        minute, found = release_min, []
        for stage, minutes in route.stages:
            ways = [(first_start(spans, minute, minutes), place) for place, spans in enumerate(self.busy[stage])]
            if stage not in BENCHES:
                loads = self.room[stage, _programme(stage, route.programme)]
                fitting = (where for where, room in loads.items() if where[0] >= minute and room >= route.units)
                ways.extend(fitting)
            start, place = min(ways)
            minute = start + minutes
            found.append(Run(stage, place, start, minute, (case,)))
        return found

    def take(self, route: Route, runs: Iterable[Run]) -> None:
        """Leave room for this no more."""
        for run in runs:
            self._enter(run, route.programme, route.units)

    def _enter(self, run: Run, programme: str, units: int) -> None:
        spans = self.busy[run.stage]
        spans[run.place] = merged([*spans[run.place], (run.start_min, run.end_min)])
        if run.stage not in BENCHES:
            loads = self.room[run.stage, _programme(run.stage, programme)]
            room = loads.get((run.start_min, run.place), self.site.capacity(run.stage))
            loads[run.start_min, run.place] = room - units


def _programme(stage: Stage, programme: str) -> str:
    return "" if stage is Stage.WASHER else programme
