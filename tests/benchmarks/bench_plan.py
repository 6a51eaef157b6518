"""How much of what case by case leaves late the planning wins back, and what of it is proven.

The figures are recorded in docs/algorithms/plan.md.
"""

from __future__ import annotations

import json
import resource
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from lists.plans.documents import read_scenario, written_plan
from lists.plans.greedy import earliest_due
from lists.plans.jobs import Day
from lists.plans.planning import plan
from lists.plans.scenario import Plan, Scenario
from tests.lists.days import invented_day
from tests.lists.plan_checker import check

MOST_MB = 1024
LEAST_SHARE = 1 / 3  # of the late weight between case by case and the bound


def once(benchmark: Any, scenario: Scenario) -> Plan:
    found: Plan = benchmark.pedantic(plan, args=(scenario,), rounds=1)
    return found


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("cases", "sites"), [(12, 1), (60, 1), (300, 4)])
def test_a_day(benchmark: BenchmarkFixture, cases: int, sites: int, seed: int) -> None:
    document = invented_day(cases, seed, sites=sites)
    scenario = read_scenario(document)
    baseline = earliest_due(Day(scenario)).worth[0]
    found = once(benchmark, scenario)
    check(document, json.loads(json.dumps(written_plan(found))))
    gap = found.bound - baseline
    share = (found.on_time_weight - baseline) / gap if gap else 1.0
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    benchmark.extra_info |= {
        "case_by_case": baseline,
        "weight": found.on_time_weight,
        "bound": found.bound,
        "least_slack_min": found.least_slack_min,
        "moves": found.moves,
        "proven": found.proven,
        "share_of_gap": share,
        "peak_mb": peak_mb,
    }
    assert share >= LEAST_SHARE
    assert peak_mb <= MOST_MB
    assert found.proven or cases > 12
