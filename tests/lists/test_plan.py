"""The plan of a day: the best there is, by trial and by published examples; rules kept by every plan."""

from __future__ import annotations

import json
import random
from collections import Counter
from itertools import permutations
from typing import Any

import pytest

from lists.plans.candidates import worked_out
from lists.plans.documents import read_scenario, written_plan
from lists.plans.greedy import earliest_due
from lists.plans.jobs import Day
from lists.plans.planning import Progress, plan
from tests.lists import plan_by_trial
from tests.lists.days import SMALL_DAY, Document, invented_day, with_calendars, with_groups
from tests.lists.plan_checker import check

TINY_SITE = {
    "preclean_benches": 1, "assembly_benches": 1, "washer_capacity": 2, "washers_free_at_min": [40],
    "steriliser_capacity": 2, "sterilisers_free_at_min": [30],
}  # fmt: skip


def planned(document: Document, **wishes: Any) -> Document:
    """The plan as a document, after the checker went through it; one worker, so that it is the same every time."""
    answer = plan(read_scenario(document), **{"workers": 1, "seconds": 10.0, **wishes})
    found: Document = json.loads(json.dumps(written_plan(answer)))
    check(document, found)
    return found


def tiny_day(seed: int) -> Document:
    """Three or four cases at one site, deadlines so close that they are hard to keep."""
    chance = random.Random(seed)
    day = invented_day(chance.choice([3, 4]), seed, share=1.0)
    day["sites"] = [TINY_SITE]
    for case in day["cases"]:
        case["start_min"] = chance.randrange(240, 560, 5)
        case["duration_min"] = chance.choice([30, 60])
    return day


@pytest.mark.parametrize("seed", range(60))
def test_a_tiny_day_is_planned_as_well_as_trying_everything_does(seed: int) -> None:
    day = tiny_day(seed)
    found = planned(day)
    weight, slack, moves = plan_by_trial.best(day)
    assert found["proven"] is True
    assert found["bound"] == found["on_time_weight"] == weight
    assert (found["least_slack_min"], -found["moves"]) == (slack if weight else None, moves)


@pytest.mark.parametrize("seed", range(30))
def test_a_tiny_day_with_closed_times_and_shifts_is_planned_as_well_too(seed: int) -> None:
    day = with_calendars(tiny_day(seed), seed)
    found = planned(day)
    weight, slack, moves = plan_by_trial.best(day)
    assert found["proven"] is True
    assert found["bound"] == found["on_time_weight"] == weight
    assert (found["least_slack_min"], -found["moves"]) == (slack if weight else None, moves)


@pytest.mark.parametrize("seed", range(30))
def test_a_tiny_day_whose_cases_stand_or_fall_together_is_planned_as_well_too(seed: int) -> None:
    day = with_groups(tiny_day(seed))
    found = planned(day)
    weight, slack, moves = plan_by_trial.best(day)
    assert found["proven"] is True
    assert (found["on_time_weight"], -found["moves"]) == (weight, moves)
    assert (found["least_slack_min"] or 0) == (slack if any(case["on_time"] for case in found["cases"]) else 0)


# Johnson's rule


JOHNSON = {
    "five motors": ([12, 4, 5, 15, 10], [22, 5, 3, 16, 8], 65),
    "jobs A to E": ([5, 3, 8, 10, 7], [2, 6, 4, 7, 12], 35),
    "seven jobs": ([10, 8, 14, 13, 10, 25, 6], [11, 17, 10, 7, 8, 9, 15], 93),
    "B-E-A-C-D": ([5, 3, 8, 7, 4], [8, 9, 7, 2, 6], 35),
    "C-E-D-B-A": ([5, 9, 8, 5, 9], [2, 3, 7, 4, 6], 38),
}


def flow_shop(first: list[int], second: list[int], due: int) -> Document:
    """Pre-clean and assembly as the two machines; nothing else takes time; all are due at one minute."""
    numbers = range(len(first))
    return {
        **SMALL_DAY,
        "templates": [
            {"id": number, "preclean_min": first[number], "assemble_min": second[number], "programme": "A",
             "implant": False, "load_units": 1} for number in numbers
        ],
        "trays": [{"id": number, "template": number, "site": 0, "state": "dirty"} for number in numbers],
        "cases": [
            {"id": number, "site": 0, "start_min": due, "duration_min": 60, "weight": 1, "accepts": [number]}
            for number in numbers
        ],
        "sites": [{**TINY_SITE, "washers_free_at_min": [0], "sterilisers_free_at_min": [0]}],
        "washer_min": 0, "programme_min": {"A": 0}, "cooling_min": 0, "move_same_site_min": 0, "prepare_min": 0,
    }  # fmt: skip


@pytest.mark.parametrize("name", JOHNSON)
def test_two_benches_alone_take_as_long_as_published_examples_of_johnsons_rule(name: str) -> None:
    """Makespans of worked examples of Johnson's rule for two machines in text books; each also the least over all
    orders, as the next test computes it."""
    first, second, makespan = JOHNSON[name]
    found = planned(flow_shop(first, second, due=100))
    assert (found["proven"], 100 - found["least_slack_min"]) == (True, makespan)


def makespan_of(order: Any, first: list[int], second: list[int]) -> int:
    one = other = 0
    for job in order:
        one += first[job]
        other = max(one, other) + second[job]
    return other


def johnson(first: list[int], second: list[int]) -> list[int]:
    """S. M. Johnson (1954): those shorter on the first machine, rising; then the others, by the second, falling."""
    jobs = range(len(first))
    early = sorted((job for job in jobs if first[job] < second[job]), key=lambda job: first[job])
    return early + sorted((job for job in jobs if first[job] >= second[job]), key=lambda job: -second[job])


@pytest.mark.parametrize("seed", range(10))
def test_two_benches_alone_take_as_long_as_johnsons_rule(seed: int) -> None:
    chance = random.Random(seed)
    first, second = ([chance.randrange(1, 30) for _ in range(6)] for _ in range(2))
    least = makespan_of(johnson(first, second), first, second)
    assert least == min(makespan_of(order, first, second) for order in permutations(range(6)))
    found = planned(flow_shop(first, second, due=200))
    assert (found["proven"], found["least_slack_min"]) == (True, min(120, 200 - least))


def test_seven_equal_trays_in_a_machine_of_three_take_three_loads() -> None:
    """The least number of loads of b = 3 for seven jobs; loads of unequal length in one machine have no counterpart
    here, where the programme alone decides how long a load takes."""
    day = flow_shop([0] * 7, [0] * 7, due=100)
    site = {**day["sites"][0], "steriliser_capacity": 3}
    found = planned({**day, "sites": [site], "programme_min": {"A": 9}})
    assert (found["proven"], found["least_slack_min"]) == (True, 100 - 3 * 9)


# Every plan


@pytest.mark.parametrize("seed", range(200))
def test_no_plan_is_worse_than_case_by_case(seed: int) -> None:
    chance = random.Random(seed)
    day = invented_day(chance.randrange(1, 16), seed, sites=chance.choice([1, 1, 2]), share=chance.uniform(0.3, 1.2))
    day["uses_per_tray"] = chance.choice([1, 2, 3])
    baseline = earliest_due(Day(read_scenario(day)))
    found = planned(day, seconds=0.2)
    slack = found["least_slack_min"]
    assert (found["on_time_weight"], 120 if slack is None else slack, -found["moves"]) >= baseline.worth


@pytest.mark.parametrize("seed", range(30))
def test_no_plan_with_closed_times_and_shifts_is_worse_than_case_by_case(seed: int) -> None:
    chance = random.Random(seed)
    day = with_calendars(invented_day(chance.randrange(4, 16), seed, sites=chance.choice([1, 2]), plant=60), seed)
    baseline = earliest_due(Day(read_scenario(day)))
    found = planned(day, seconds=0.3)
    slack = found["least_slack_min"]
    assert (found["on_time_weight"], 120 if slack is None else slack, -found["moves"]) >= baseline.worth


@pytest.mark.parametrize("seed", range(12))
def test_late_cases_are_done_beside_the_others_which_stay_as_they_are(seed: int) -> None:
    chance = random.Random(seed)
    day = invented_day(14, seed, sites=chance.choice([1, 2]), share=0.6)
    for case in day["cases"][::2]:
        case["start_min"] -= 300  # so early that not every tray can be ready
    day = with_calendars(day, seed) if seed % 3 == 0 else day
    without = planned(day, seconds=0.3)
    found = planned({**day, "late_cases": True}, seconds=0.3)
    late = found.pop("late")
    assert found == without
    gone = {entry["tray"] for entry in late["cases"]}
    uses = Counter(entry["tray"] for entry in found["cases"])
    lacking = {entry["case"] for entry in found["cases"] if not entry["on_time"]} - {
        entry["case"] for entry in late["cases"]
    }
    for case in (case for case in day["cases"] if case["id"] in lacking):
        for tray in (tray for tray in day["trays"] if tray["template"] in case["accepts"]):
            unusable = tray["state"] in {"quarantined", "on_loan"} and tray["free_at_min"] is None
            assert tray["id"] in gone or uses[tray["id"]] == day["uses_per_tray"] or unusable


def test_a_case_that_is_late_is_told_by_how_much() -> None:
    """One tray, one case at 200: deadline 175; pre-cleaned 0-10, washed 40-115, assembled 130, sterilised 180, cooled
    210: 35 min late."""
    case = {**SMALL_DAY["cases"][0], "start_min": 200, "accepts": [0]}
    found = planned({**SMALL_DAY, "trays": SMALL_DAY["trays"][:1], "cases": [case], "late_cases": True})
    assert found["late"]["cases"] == [{"case": 0, "tray": 0, "ready_min": 210, "late_min": 35}]
    assert [batch["start_min"] for batch in found["late"]["batches"]] == [40, 130]


@pytest.mark.parametrize("sites", [1, 3])
def test_cases_that_stand_or_fall_together_do_so_at_every_size(sites: int) -> None:
    day = invented_day(20 if sites == 1 else 130, 5, sites=sites, plant=60)
    cases = [{**case, "together": place // 3} for place, case in enumerate(day["cases"])]
    found = planned({**day, "cases": cases}, seconds=0.5)
    baseline = earliest_due(Day(read_scenario({**day, "cases": cases})))
    assert 0 < baseline.worth[0] <= found["on_time_weight"] <= planned(day, seconds=0.5)["bound"]


def test_a_day_that_is_never_closed_is_planned_as_one_without_closed_times() -> None:
    day = invented_day(12, 3)
    site = day["sites"][0]
    always = {"start_min": 0, "end_min": 100_000}
    open_site = {
        **site, "washers_closed": [[] for _ in site["washers_free_at_min"]], "sterilisers_closed": None,
        "preclean_shifts": [{**always, "hands": 9}], "assembly_shifts": [{**always, "hands": 9}],
    }  # fmt: skip
    found = planned({**day, "sites": [open_site]})
    work = [{key: value for key, value in entry.items() if key != "place"} for entry in found["work"]]
    assert {**found, "work": work} == planned(day)


def test_the_same_question_has_the_same_answer() -> None:
    day = invented_day(30, 7)
    assert planned(day, seconds=0.5) == planned(day, seconds=0.5)


def test_who_stops_at_once_gets_the_first_plan() -> None:
    day = invented_day(40, 3)
    told: list[Progress] = []
    found = planned(day, stop=lambda: True, progress=told.append)
    assert found["proven"] is False
    assert (found["on_time_weight"], told[0].bound) == (told[0].weight, sum(case["weight"] for case in day["cases"]))
    assert found["on_time_weight"] == earliest_due(Day(read_scenario(day))).worth[0]


def test_progress_never_falls() -> None:
    told: list[Progress] = []
    planned(invented_day(20, 2), seconds=1.0, progress=told.append)
    assert [str(step.phase) for step in told][-3:] == ["weight", "slack", "moves"]
    weights = [step.weight for step in told]
    assert weights == sorted(weights)
    assert all(step.weight <= step.bound for step in told)


def test_a_large_day_is_planned_site_by_site() -> None:
    day = invented_day(130, 1, sites=3, plant=60)
    found = planned(day, seconds=1.0)
    baseline = earliest_due(Day(read_scenario(day)))
    assert found["on_time_weight"] > baseline.worth[0]


def test_a_choice_that_does_not_work_out_loses_its_lightest_cases() -> None:
    day = Day(read_scenario(flow_shop([50, 50, 50], [0, 0, 0], due=100)))
    kept = worked_out(day, (0, 1, 2))
    assert sum(tray is not None for tray in kept.assignment) == 2
