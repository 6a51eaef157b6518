"""Chances of cases: the plan itself without noise, closed forms with one source of noise, and the same days again."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lists.chances.forecast import MOST_DAYS, CaseChance, chances
from lists.chances.noise import NONE, USUAL, LoadPolicy, LogNormal, Noise, Triangular
from lists.plans.documents import read_scenario
from lists.plans.planning import plan as planned
from lists.plans.scenario import Batch, CaseDemand, Plan, PlannedCase, Scenario, Template, Tray, TrayState, Work
from lists.plans.sites import Site, Stage
from tests.lists.days import invented_day, with_calendars
from tests.lists.planned import plan_of, random_day

PRECLEAN_MIN, ASSEMBLY_MIN = 10, 20


@given(st.integers(0, 2**32), st.integers(1, 14), st.integers(1, 20), st.integers(1, 3), st.sampled_from([0.0, 0.4]))
def test_without_noise_every_day_is_the_plan(seed: int, trays: int, cases: int, sites: int, idle: float) -> None:
    day = random_day(Random(seed), trays=trays, cases=cases, sites=sites)
    plan = plan_of(day, seed=seed, idle=idle)
    for noise in (NONE, replace(NONE, policy=LoadPolicy.WAIT)):
        found = chances(day, plan, noise, days=2)
        assert [(entry.case, entry.p50_ready_min, entry.p90_ready_min, entry.chance) for entry in found] == [
            (entry.case, entry.ready_min, entry.ready_min, float(entry.on_time)) for entry in plan.cases
        ]


@pytest.mark.parametrize("seed", range(8))
def test_closed_times_and_shifts_are_kept_by_every_day(seed: int) -> None:
    """Without noise a day is the plan, to the minute; with it nothing begins while it is closed."""
    day = read_scenario(with_calendars(invented_day(12, seed, plant=60), seed))
    plan = planned(day, stop=lambda: True)
    for noise in (NONE, replace(NONE, policy=LoadPolicy.WAIT)):
        assert [entry.p50_ready_min for entry in chances(day, plan, noise, days=2)] == [
            entry.ready_min for entry in plan.cases
        ]
    found = chances(day, plan, USUAL, days=200)
    assert all(0 <= entry.chance <= 1 for entry in found)


def test_a_day_that_strays_waits_for_the_next_shift() -> None:
    """Pre-cleaning from 0 to 10 is late by half: the washer, closed from 87 to 160, takes the tray on at 160."""
    document = invented_day(3, 1)
    site = {
        **document["sites"][0],
        "washers_free_at_min": [0],
        "washers_closed": [[{"start_min": 87, "end_min": 160}]],
    }
    template = {**document["templates"][0], "preclean_min": 10, "implant": False}
    case = {**document["cases"][0], "accepts": [template["id"]], "start_min": 900}
    tray = {"id": 0, "template": template["id"], "site": 0, "state": "dirty", "free_at_min": 0}
    day = read_scenario({**document, "sites": [site], "templates": [template], "cases": [case], "trays": [tray]})
    plan = planned(day, stop=lambda: True)
    washed = next(batch for batch in plan.batches if batch.stage is Stage.WASHER)
    assert (washed.start_min, washed.end_min) == (10, 85)
    slow = Noise(preclean=Triangular(1.5, 1.5, 1.5))
    (found,) = chances(day, plan, slow, days=2)
    ready = plan.cases[0].ready_min
    assert ready is not None
    assert found.p50_ready_min == 160 - 10 + ready


@pytest.mark.parametrize(("cases", "seed", "sites"), [(12, 0, 1), (60, 1, 1), (60, 2, 2)])
def test_plans_of_the_planner_are_followed_to_the_minute(cases: int, seed: int, sites: int) -> None:
    day = read_scenario(invented_day(cases, seed, sites=sites))
    plan = planned(day, stop=lambda: True)
    assert plan.work
    found = chances(day, plan, NONE, days=2)
    assert [(entry.p50_ready_min, entry.chance) for entry in found] == [
        (entry.ready_min, float(entry.on_time)) for entry in plan.cases
    ]


def one_tray(slack_min: int) -> tuple[Scenario, Plan]:
    """One tray from the pre-clean bench to the shelf at 185, and a case that must have it so much later."""
    deadline = 185 + slack_min
    day = Scenario(
        (Template(0, PRECLEAN_MIN, ASSEMBLY_MIN, "A"),),
        (Tray(0, 0, 0, TrayState.DIRTY),),
        (CaseDemand(0, 0, deadline + 25, 60, 1, (0,)),),
        (Site(1, 1, 2, (0,), 2, (0,)),),
        75, {"A": 50}, 30, 180, 10, 45, 15, 25, 2,
    )  # fmt: skip
    work = (Work(0, Stage.PRECLEAN, 0, 10), Work(0, Stage.ASSEMBLY, 85, 105))
    loads = (Batch(0, Stage.WASHER, 10, 85, (0,)), Batch(0, Stage.STERILISER, 105, 155, (0,)))
    case = PlannedCase(0, 0, 185, deadline, on_time=slack_min >= 0)
    return day, Plan(0, 1, None, 0, False, (case,), loads, work)


def chance(slack_min: int, noise: Noise, days: int = 40_000) -> float:
    (found,) = chances(*one_tray(slack_min), noise, days=days)
    return found.chance


@pytest.mark.parametrize("policy", LoadPolicy)
@pytest.mark.parametrize(("slack_min", "exact"), [(-1, 0.1212), (1, 0.4432), (4, 0.8182), (7, 0.9886)])
def test_of_a_single_tray_the_pre_clean_is_the_triangular_distribution(
    slack_min: int, exact: float, policy: LoadPolicy
) -> None:
    """The deadline leaves 0.9, 1.1, 1.4 and 1.7 of the planned pre-cleaning; four standard errors of 40 000 days."""
    known = stats.triang(c=0.3 / 1.1, loc=0.7, scale=1.1).cdf((PRECLEAN_MIN + slack_min) / PRECLEAN_MIN)
    assert known == pytest.approx(exact, abs=5e-5)
    found = chance(slack_min, Noise(preclean=Triangular(0.7, 1, 1.8), policy=policy))
    assert abs(found - known) <= 4 * np.sqrt(known * (1 - known) / 40_000)


@pytest.mark.parametrize("slack_min", [-8, -3, 0, 3, 8, 15])
def test_of_a_single_tray_the_assembly_is_the_log_normal_distribution(slack_min: int) -> None:
    """Φ(ln(x / p) / sigma), where x is what the deadline leaves of the planned p."""
    known = stats.norm.cdf(np.log((ASSEMBLY_MIN + slack_min) / ASSEMBLY_MIN) / 0.3)
    assert known == pytest.approx(stats.lognorm(s=0.3, scale=ASSEMBLY_MIN).cdf(ASSEMBLY_MIN + slack_min), rel=1e-12)
    found = chance(slack_min, Noise(assembly=LogNormal(0.3)))
    assert abs(found - known) <= 4 * np.sqrt(known * (1 - known) / 40_000)


def test_percentiles_are_minutes_of_drawn_days() -> None:
    (found,) = chances(*one_tray(0), Noise(assembly=LogNormal(0.3)), days=40_000)
    known = stats.lognorm(s=0.3, scale=ASSEMBLY_MIN)
    assert found.p50_ready_min == pytest.approx(185 - ASSEMBLY_MIN + known.ppf(0.5), abs=0.2)
    assert found.p90_ready_min == pytest.approx(185 - ASSEMBLY_MIN + known.ppf(0.9), abs=0.4)


def test_the_same_seed_gives_the_same_days_and_another_gives_others() -> None:
    day, plan = one_tray(3)
    first = chances(day, plan, USUAL, days=500, seed=1)
    assert chances(day, plan, USUAL, days=500, seed=1) == first
    assert chances(day, plan, USUAL, days=500, seed=2) != first


def test_more_time_is_never_less_chance() -> None:
    found = [chance(slack_min, USUAL, days=2000) for slack_min in range(-5, 60, 5)]
    assert found == sorted(found)
    assert found[0] < 0.5 < found[-1]


def test_a_case_without_tray_has_no_chance() -> None:
    day, plan = one_tray(0)
    late = replace(plan, cases=(replace(plan.cases[0], tray=None, ready_min=None, on_time=False),))
    assert chances(day, late, USUAL, days=10) == (CaseChance(0, 0.0, None, None),)


def test_days_are_counted() -> None:
    with pytest.raises(ValueError, match=r"Cannot draw days: days is 100001, must be 100000 or fewer\."):
        chances(*one_tray(0), NONE, days=MOST_DAYS + 1)
