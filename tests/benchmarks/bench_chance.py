"""How long ten thousand drawn days take against drawing as many numbers and going through them once.

The figures are recorded in docs/algorithms/chance.md.
"""

from __future__ import annotations

import time
import timeit
from collections.abc import Callable
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from lists.chances.forecast import DAYS, CaseChance, chances
from lists.chances.noise import NONE, USUAL, LoadPolicy, Noise
from lists.plans.scenario import Plan, Scenario, TrayState
from lists.plans.sites import Site
from tests.lists.planned import plan_of, random_day

MOST_PASSES = 5
TURNS = 5
NOISES = {"none": NONE, "wait": replace(USUAL, policy=LoadPolicy.WAIT), "cutoff": USUAL}


def unit(cases: int, sites: int) -> tuple[Scenario, Plan]:
    """Sites with two pre-clean and four assembly benches, two washers and two sterilisers of eight units each."""
    drawn = random_day(Random(cases), trays=cases, cases=cases, sites=sites)
    site = Site(2, 4, 8, (0, 30), 8, (0, 20))
    trays = tuple(replace(tray, state=TrayState.DIRTY, free_at_min=None) for tray in drawn.trays)
    values = {name: getattr(drawn, name) for name in Scenario.__dataclass_fields__ if not name.startswith("_")}
    day = Scenario(**{**values, "sites": (site,) * sites, "trays": trays})
    return day, plan_of(day)


def one_pass(steps: int) -> float:
    """Two numbers for each step and day, and one step after the other."""
    source, at = np.random.default_rng(1), np.zeros(DAYS)
    for _ in range(steps):
        at = np.maximum(at, 1.0) + np.exp(0.3 * source.standard_normal(DAYS)) + source.standard_exponential(DAYS)
    return float(at.mean())


def seconds(act: Callable[[], object]) -> float:
    """Of the processor, since other work comes and goes."""
    return timeit.timeit(act, number=1, timer=time.process_time)


@pytest.mark.parametrize("noise", NOISES)
@pytest.mark.parametrize(("cases", "sites"), [(60, 1), (300, 4)])
def test_ten_thousand_days(benchmark: BenchmarkFixture, cases: int, sites: int, noise: str) -> None:
    day, plan = unit(cases, sites)
    steps = len(plan.work) + len(plan.batches)

    def drawn(noise: Noise = NOISES[noise]) -> tuple[CaseChance, ...]:
        return chances(day, plan, noise)

    found = benchmark(drawn)
    turns = [(seconds(drawn), seconds(lambda: one_pass(steps))) for _ in range(TURNS)]
    best_s, pass_s = (min(times) for times in zip(*turns, strict=True))
    benchmark.extra_info |= {
        "steps": steps,
        "seconds": best_s,
        "passes": best_s / pass_s,
        "least_chance": min(entry.chance for entry in found),
    }
    assert best_s <= MOST_PASSES * pass_s
