"""The day that is planned: read strictly, refused by name, and the minutes that follow from it."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from lists.plans.calendars import NEVER_MIN, Closed, Shift, closed_spans, first_start, interchangeable, unmanned
from lists.plans.documents import read_plan, read_scenario, written_plan, written_scenario
from lists.plans.scenario import Batch, Plan, PlannedCase, Scenario, TrayState, Work
from lists.plans.sites import Stage
from tests.lists.days import SMALL_DAY, with_calendars


def day(**changes: Any) -> Scenario:
    return read_scenario({**SMALL_DAY, **changes})


def changed(path: str, value: object) -> dict[str, Any]:
    document = copy.deepcopy(SMALL_DAY)
    *way, last = path.split(".")
    inner: Any = document
    for step in way:
        inner = inner[int(step)] if step.isdigit() else inner[step]
    inner[last] = value
    return document


def test_a_day_is_read() -> None:
    scenario = day()
    tray = scenario.trays[1]
    assert (tray.state, tray.usable, scenario.trays[2].usable) == (TrayState.STERILE, True, False)
    assert scenario.template_of(tray).programme == "B"
    assert scenario.sites[0].free_at_min(Stage.WASHER) == (40,)
    assert scenario.cases[0].accepts == (0, 3)


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("bench", 1, 'Cannot read the document: it has the unknown key "bench"'),
        ("trays.0.colour", 1, 'Cannot read trays[0]: it has the unknown key "colour"'),
        ("trays.0.state", "lost", 'Cannot read trays[0].state: it is "lost", must be one of dirty, in_washer,'),
        ("washer_min", 7.5, "Cannot read washer_min: it is 7.5, must be a whole number from 0 up to 100000."),
        ("trays.0.free_at_min", -1, "Cannot read trays[0].free_at_min: it is -1, must be a whole number"),
        ("trays.0.template", 1, "Cannot plan tray 0: its template is 1, must be a template of the day."),
        ("cases.0.accepts", [0, 9], "Cannot plan case 0: its template is 9, must be a template of the day."),
        (
            "cases.1.site",
            1,
            "Cannot plan case 1: its site is 1, must be a position in the list of sites, counted from 0.",
        ),
        ("cases.1.id", 0, "Cannot plan the day: case 0 is there twice, must be there once."),
        (
            "templates.1.programme",
            "C",
            "Cannot plan template 3: its programme is C, must be one whose length is given.",
        ),
        ("templates.0.load_units", 0, "Cannot plan template 0: its load_units is 0, must be 1 to 1000."),
        (
            "sites.0.washers_closed",
            [],
            "Cannot plan a site: its washers_closed is of 0 machines, must be of 1 machines, one list for each.",
        ),
        (
            "sites.0.sterilisers_closed",
            [[{"start_min": 50, "end_min": 50}]],
            "Cannot plan a closed time: it is from 50 to 50, must end after its start.",
        ),
        (
            "sites.0.preclean_shifts",
            [{"start_min": 50, "end_min": 40, "hands": 1}],
            "Cannot plan a shift: it is from 50 to 40, must end after its start.",
        ),
        (
            "sites.0.assembly_shifts",
            [{"start_min": 0, "end_min": 40}],
            'Cannot read sites[0].assembly_shifts[0]: it has no key "hands", must have it.',
        ),
        ("uses_per_tray", 0, "Cannot plan the day: its uses_per_tray is 0, must be 1 to 1000."),
    ],
)
def test_what_does_not_fit_is_refused_by_name(path: str, value: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=r"^Cannot ") as refusal:
        read_scenario(changed(path, value))
    assert str(refusal.value).startswith(sentence)
    assert str(refusal.value).count("\n") == 0


def test_figures_are_checked_without_a_document_too() -> None:
    scenario = day()
    refused = r"Cannot plan the day: its programme A is -1, must be 0 to 100000\."
    with pytest.raises(ValueError, match=refused):
        Scenario(**{**_values(scenario), "programme_min": {"A": -1, "B": 75}})
    site = scenario.sites[0]
    with pytest.raises(ValueError, match=r"Cannot plan a site: its washers_free_at_min is -5, must be 0 to 100000"):
        type(site)(1, 1, 2, (-5,), 2, (30,))


def _values(scenario: Scenario) -> dict[str, Any]:
    return {name: getattr(scenario, name) for name in SMALL_DAY}


def test_the_minutes_that_follow() -> None:
    """The case starts at 445: 15 min to prepare, 10 min from the shelf of its site, 45 min from another's."""
    second = {**SMALL_DAY["sites"][0]}
    scenario = day(sites=[SMALL_DAY["sites"][0], second], trays=[{**SMALL_DAY["trays"][1], "site": 1}])
    case, tray = scenario.cases[0], scenario.trays[0]
    assert scenario.deadline_min(case) == 420
    assert scenario.deadline_min(case, tray) == 385
    assert scenario.dirty_again_min(case) == 445 + 60 + 25
    assert scenario.moves(case, tray) == 2
    assert scenario.moves(scenario.cases[1], day().trays[1]) == 0


def test_stages_take_the_times_of_the_template_and_an_implant_its_hold() -> None:
    scenario = day()
    plain, implant, _ = scenario.trays
    assert [scenario.stage_min(plain, stage) for stage in Stage] == [10, 75, 15, 50]
    assert [scenario.stage_min(implant, stage) for stage in Stage] == [15, 75, 25, 75]
    assert (scenario.wait_min(plain), scenario.wait_min(implant)) == (30, 180)
    assert [scenario.sites[0].benches(stage) for stage in (Stage.PRECLEAN, Stage.ASSEMBLY)] == [1, 1]
    assert [scenario.sites[0].capacity(stage) for stage in (Stage.WASHER, Stage.STERILISER)] == [2, 2]
    assert scenario.sites[0].free_at_min(Stage.STERILISER) == (30,)


def test_a_plan_is_written_as_it_is_read() -> None:
    plan = Plan(
        5, 7, 12, 1, proven=False,
        cases=(
            PlannedCase(0, 1, 0, 420, on_time=True),
            PlannedCase(1, None, None, -5, on_time=False, why="trays_taken", detail="A sentence."),
        ),
        batches=(Batch(0, Stage.WASHER, 40, 115, (0,)),),
        work=(Work(0, Stage.PRECLEAN, 0, 10),),
    )  # fmt: skip
    document = written_plan(plan)
    assert list(document) == [
        "on_time_weight", "bound", "least_slack_min", "moves", "proven", "cases", "batches", "work",
    ]  # fmt: skip
    assert read_plan(document) == plan
    with pytest.raises(ValueError, match=r"^Cannot read batches\[0\]\.stage: it is \"preclean\", must be one of"):
        read_plan({**document, "batches": [{**document["batches"][0], "stage": "preclean"}]})


def test_closed_times_and_shifts_are_written_as_they_are_read_and_left_out_where_there_are_none() -> None:
    document = with_calendars(SMALL_DAY, 3)
    written = json.loads(json.dumps(written_scenario(read_scenario(document))))
    assert written["sites"] == document["sites"]
    assert read_scenario(written) == read_scenario(document)
    assert list(written_scenario(day())["sites"][0]) == list(SMALL_DAY["sites"][0])


def test_the_first_places_of_a_bench_are_manned_first() -> None:
    shifts = [Shift(10, 30, 1), Shift(20, 50, 2)]
    assert unmanned(shifts, 4) == (
        ((0, 10), (50, NEVER_MIN)), ((0, 20), (50, NEVER_MIN)), ((0, 20), (30, NEVER_MIN)), ((0, NEVER_MIN),),
    )  # fmt: skip


def test_a_run_does_not_cross_a_closed_time() -> None:
    closed = closed_spans([Closed(40, 50), Closed(20, 40), Closed(70, 80)])
    assert closed == ((20, 50), (70, 80))
    assert [first_start(closed, minute, 20) for minute in (0, 1, 30, 50, 51)] == [0, 50, 50, 50, 80]
    assert first_start(closed, 30, 0) == 30


def test_places_may_be_counted_where_none_closes_alone() -> None:
    assert interchangeable([((0, 5), (100, 200)), ((0, 30), (100, 180))])
    assert not interchangeable([((50, 60),), ()])
    assert interchangeable([((50, 60),)])
