"""One measure after the other, of all cases at once and site by site: never worse, and within the bound."""

from __future__ import annotations

import pytest

from lists.plans.documents import read_scenario
from lists.plans.formulation import Model
from lists.plans.greedy import earliest_due, improved
from lists.plans.jobs import Day
from lists.plans.neighbourhood import by_sites
from lists.plans.solving import Effort, Phase, solved
from tests.lists.days import invented_day

BRIEF = Effort(0.2, 1, 1, lambda: False)
BEYOND = {Phase.WEIGHT: 10**6, Phase.SLACK: 120, Phase.MOVES: 0}


def two_sites(seed: int) -> Day:
    return Day(read_scenario(invented_day(14, seed, sites=2)))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("phase", Phase)
def test_site_by_site_is_never_worse(phase: Phase, seed: int) -> None:
    day = two_sites(seed)
    start = earliest_due(day)
    found = by_sites(day, start, phase, limit=BEYOND[phase], effort=BRIEF)
    assert found.worth >= start.worth
    stopped = Effort(0.2, 1, 1, lambda: True)
    assert by_sites(day, start, phase, limit=BEYOND[phase], effort=stopped) is start


def test_a_site_without_trays_changes_nothing() -> None:
    document = invented_day(6, 1, sites=2)
    for tray in document["trays"]:
        tray["site"] = 0
    day = Day(read_scenario(document))
    start = earliest_due(day)
    found = by_sites(day, start, Phase.SLACK, limit=120, effort=BRIEF)
    assert found.worth >= start.worth


@pytest.mark.parametrize("phase", Phase)
def test_two_workers_find_what_one_finds(phase: Phase) -> None:
    day = two_sites(4)
    start = improved(day, earliest_due(day), seed=1, turns=50, stop=lambda: False)
    whole = range(len(day.weight)), range(len(day.scenario.trays))
    limit = sum(day.weight) if phase is Phase.WEIGHT else BEYOND[phase]
    found = [
        solved(day, Model(day, *whole), start, phase, limit=limit, effort=Effort(20.0, workers, 1, lambda: False))
        for workers in (1, 2)
    ]
    assert found[0].bound == found[1].bound
    assert all(one.candidate.worth >= start.worth for one in found)


def test_who_stops_the_solver_keeps_what_is_known() -> None:
    day = Day(read_scenario(invented_day(60, 0)))
    start = earliest_due(day)
    model = Model(day, range(len(day.weight)), range(len(day.scenario.trays)))
    effort = Effort(60.0, 2, 1, lambda: True)
    found = solved(day, model, start, Phase.WEIGHT, limit=sum(day.weight), effort=effort)
    assert found.candidate.worth >= start.worth
    assert found.bound <= sum(day.weight)
