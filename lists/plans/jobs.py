"""What a choice of trays asks of the benches and machines: one job for each case, and how early each could be done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from lists.plans.calendars import NEVER_MIN
from lists.plans.scenario import ALL_STAGES, STAGES_LEFT, Scenario, Tray, TrayState
from lists.plans.sites import Site, Stage

BENCHES = (Stage.PRECLEAN, Stage.ASSEMBLY)
ON_THE_SHELF = frozenset({TrayState.STERILE, TrayState.QUARANTINED})

Assignment = tuple[int | None, ...]  # by position of the case: position of its tray; None = late


@dataclass(frozen=True, slots=True)
class Route:
    """What is left to be done to a tray from some point on.

    Args:
        stages: stages still to pass, each with its length [min].
        wait_min: from the end of the last of them to the shelf [min].
        programme: of the steriliser.
        units: room in a machine.
    """

    stages: tuple[tuple[Stage, int], ...]
    wait_min: int
    programme: str
    units: int

    def possible(self, site: Site) -> bool:
        """Whether the site has a bench or a machine for every stage."""
        return all(
            site.benches(stage) > 0
            if stage in BENCHES
            else bool(site.free_at_min(stage)) and self.units <= site.capacity(stage)
            for stage, _ in self.stages
        )

    def alone_min(self, site: Site, release_min: int) -> int:
        """When the tray is on the shelf if nobody else is in its way, but machines are busy at first, or closed."""
        minute = release_min
        for stage, minutes in self.stages:
            minute = site.first_start(stage, minute, minutes) + minutes
        return minute + self.wait_min

    def latest_min(self, deadline_min: int) -> dict[Stage, int]:
        """When each stage must begin at the latest, closed times left out."""
        latest, minute = {}, deadline_min - self.wait_min
        for stage, minutes in reversed(self.stages):
            minute -= minutes
            latest[stage] = minute
        return latest


@dataclass(frozen=True, slots=True)
class Job:
    """The way of one tray to the shelf for one case.

    Args:
        case: position of the case.
        tray: position of the tray.
        release_min: when it can be taken on.
        route: what is left to be done.
        deadline_min: when it must be on the shelf.
    """

    case: int
    tray: int
    release_min: int
    route: Route
    deadline_min: int


class Day:
    """A scenario, with what follows from it worked out once. Cases, trays and sites go by their positions.

    Args:
        scenario: the day.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.first = [self._first(tray) for tray in scenario.trays]
        self.again = [self._again(tray) for tray in scenario.trays]
        self.deadline_min = [
            {tray: scenario.deadline_min(case, scenario.trays[tray]) for tray in self._accepted(case.accepts)}
            for case in scenario.cases
        ]
        self.moves = [
            {tray: scenario.moves(case, scenario.trays[tray]) for tray in deadlines}
            for case, deadlines in zip(scenario.cases, self.deadline_min, strict=True)
        ]
        self.dirty_min = [scenario.dirty_again_min(case) for case in scenario.cases]
        self.weight = [case.weight for case in scenario.cases]
        self.site_of = [tray.site for tray in scenario.trays]

    @cached_property
    def mates(self) -> list[tuple[int, ...]]:
        """Of each case those that stand or fall with it, itself among them."""
        groups: dict[int, list[int]] = defaultdict(list)
        for position, case in enumerate(self.scenario.cases):
            if case.together is not None:
                groups[case.together].append(position)
        alone = enumerate(self.scenario.cases)
        return [(place,) if case.together is None else tuple(groups[case.together]) for place, case in alone]

    @cached_property
    def stake(self) -> list[int]:
        """What is lost when a case is late: the weight of all that stand or fall with it."""
        return [sum(self.weight[mate] for mate in mates) for mates in self.mates]

    def whole(self, assignment: Assignment) -> Assignment:
        """The same choice without cases that cannot stand, for another that they stand or fall with is late."""
        return tuple(
            None if any(assignment[mate] is None for mate in self.mates[case]) else tray
            for case, tray in enumerate(assignment)
        )

    @cached_property
    def trays_of(self) -> list[list[int]]:
        """Trays of each site."""
        trays: list[list[int]] = [[] for _ in self.scenario.sites]
        for tray, site in enumerate(self.site_of):
            trays[site].append(tray)
        return trays

    @cached_property
    def alike(self) -> list[list[int]]:
        """Trays that differ in nothing but their number."""
        alike = defaultdict(list)
        for position, tray in enumerate(self.scenario.trays):
            alike[tray.template, tray.site, tray.state, tray.free_at_min].append(position)
        return list(alike.values())

    def tidied(self, assignment: Assignment) -> Assignment:
        """The same choice, but of trays that are alike those in front of the list serve, in the order of its cases."""
        used = self.served(assignment)
        other: dict[int, int] = {}
        for trays in self.alike:
            busy = sorted(
                (tray for tray in trays if tray in used), key=lambda tray: self.by_start.index(used[tray][0])
            )
            other.update(zip(busy, trays, strict=False))
        return tuple(None if tray is None else other[tray] for tray in assignment)

    @cached_property
    def by_start(self) -> list[int]:
        """Cases by start, of those at one time the weightier first."""
        cases = self.scenario.cases
        return sorted(range(len(cases)), key=lambda case: (cases[case].start_min, -cases[case].weight, case))

    def alone_min(self, tray: int, after: int | None = None) -> int | None:
        """When a tray is on the shelf for its first case, or after another, if it is alone; None = never."""
        route, release = self.way(tray, after)
        if route is None:
            return None
        ready = route.alone_min(self.scenario.sites[self.site_of[tray]], release)
        return ready if ready < NEVER_MIN else None

    def can_serve(self, tray: int, case: int, after: int | None = None) -> bool:
        """Whether a tray, alone, is on the shelf in time for a case, as its first or after another."""
        ready = self.alone_min(tray, after)
        return ready is not None and ready <= self.deadline_min[case][tray]

    def served(self, assignment: Assignment) -> Mapping[int, Sequence[int]]:
        """The cases of each tray that serves any, in their order."""
        cases = defaultdict(list)
        for case in self.by_start:
            tray = assignment[case]
            if tray is not None:
                cases[tray].append(case)
        return cases

    def possible(self, tray: int, cases: Sequence[int]) -> bool:
        """Whether a tray, alone, can serve these cases in this order."""
        if len(cases) > self.scenario.uses_per_tray:
            return False
        return all(self.can_serve(tray, case, after) for after, case in zip([None, *cases], cases, strict=False))

    def jobs(self, tray: int, cases: Sequence[int]) -> Iterable[Job]:
        """The jobs of a tray that serves these cases in this order; it can do so."""
        for after, case in zip([None, *cases], cases, strict=False):
            route, release = self.way(tray, after)
            if route is None:
                raise ValueError(f"Tray {tray} cannot serve case {case}.")
            yield Job(case, tray, release, route, self.deadline_min[case][tray])

    def way(self, tray: int, after: int | None = None) -> tuple[Route | None, int]:
        """What is left to be done to a tray as it is, or after a case, and from when; None where that cannot be."""
        if after is None:
            return self.first[tray], self.scenario.trays[tray].free_at_min or 0
        return self.again[tray], self.dirty_min[after]

    def _accepted(self, templates: Iterable[int]) -> Iterable[int]:
        wanted = set(templates)
        return (position for position, tray in enumerate(self.scenario.trays) if tray.template in wanted)

    def _first(self, tray: Tray) -> Route | None:
        route = self._of(tray, STAGES_LEFT[tray.state], waits=tray.state not in ON_THE_SHELF)
        return route if tray.usable and route.possible(self.scenario.sites[tray.site]) else None

    def _again(self, tray: Tray) -> Route | None:
        route = self._of(tray, ALL_STAGES, waits=True)
        return route if tray.usable and route.possible(self.scenario.sites[tray.site]) else None

    def _of(self, tray: Tray, stages: Iterable[Stage], *, waits: bool) -> Route:
        template = self.scenario.template_of(tray)
        lengths = tuple((stage, self.scenario.stage_min(tray, stage)) for stage in stages)
        wait = self.scenario.wait_min(tray) if waits else 0
        return Route(lengths, wait, template.programme, template.load_units)
