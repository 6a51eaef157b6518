"""The bound that knows of machines: it holds for the best plan, and sees what trays that never queue do not."""

from __future__ import annotations

import pytest

from lists.plans.bounding import Relaxation
from lists.plans.documents import read_scenario
from lists.plans.jobs import Day
from lists.plans.machine_time import MachineTime
from tests.lists import plan_by_trial
from tests.lists.days import SMALL_DAY, Document
from tests.lists.test_plan import tiny_day

SECONDS = {"time_limit": 20.0}


@pytest.mark.parametrize("seed", range(20))
def test_no_plan_exceeds_it(seed: int) -> None:
    day = tiny_day(seed)
    question = MachineTime(Day(read_scenario(day)))
    if not question.small:
        return
    best = plan_by_trial.best(day)[0]
    answers = [question.greatest_weight(0, SECONDS).bound for _ in range(3)]
    assert min(answers) >= best
    assert question.greatest_weight(best, SECONDS).bound >= best


def two_programmes(deadline_min: int) -> Document:
    """Two packed trays of two programmes, one steriliser that is free at 30, both trays due at one minute."""
    templates = [
        {"id": number, "preclean_min": 10, "assemble_min": 15, "programme": programme}
        for number, programme in ((0, "A"), (3, "B"))
    ]
    return {
        **SMALL_DAY,
        "templates": [{**template, "implant": False, "load_units": 1} for template in templates],
        "trays": [{"id": number, "template": number, "site": 0, "state": "packed"} for number in (0, 3)],
        "cases": [
            {"id": number, "site": 0, "start_min": deadline_min + 25, "duration_min": 60, "weight": 1,
             "accepts": [number]} for number in (0, 3)
        ],
    }  # fmt: skip


@pytest.mark.parametrize(("deadline_min", "weight"), [(30 + 50 + 75 + 30 - 1, 1), (30 + 50 + 75 + 30, 2)])
def test_one_machine_does_not_run_two_loads_at_once(deadline_min: int, weight: int) -> None:
    """A takes 50 min, B 75, cooling 30: both are ready at 185 at the earliest."""
    day = Day(read_scenario(two_programmes(deadline_min)))
    assert Relaxation(day).greatest_weight(20.0).bound == 2
    found = MachineTime(day).greatest_weight(0, SECONDS)
    assert found.bound == weight
    assert sum(tray is not None for tray in found.assignment or ()) == weight


def test_a_weight_that_is_known_is_the_bound_where_none_has_more() -> None:
    day = Day(read_scenario(two_programmes(184)))
    found = MachineTime(day).greatest_weight(1, SECONDS)
    assert (found.bound, found.assignment) == (1, None)


def test_a_day_of_weeks_is_not_asked() -> None:
    assert not MachineTime(Day(read_scenario(two_programmes(60_000)))).small
