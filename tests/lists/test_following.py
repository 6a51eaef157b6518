"""What of a plan can be followed, and what is refused by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lists.chances.following import course
from lists.chances.forecast import chances
from lists.chances.noise import NONE
from lists.plans.documents import read_scenario
from lists.plans.scenario import Batch, Plan, PlannedCase, Scenario, Tray, TrayState, Work
from lists.plans.sites import Stage
from tests.lists.days import SMALL_DAY

DAY = read_scenario(SMALL_DAY)
PRECLEAN = Work(0, Stage.PRECLEAN, 0, 10)
WASHER = Batch(0, Stage.WASHER, 40, 115, (0,))
ASSEMBLY = Work(0, Stage.ASSEMBLY, 115, 130)
STERILISER = Batch(0, Stage.STERILISER, 130, 180, (0,))
CASES = (PlannedCase(0, 0, 210, 420, on_time=True), PlannedCase(1, 1, 0, 455, on_time=True))


def planned(*entries: Batch | Work, cases: tuple[PlannedCase, ...] = CASES) -> Plan:
    work = tuple(entry for entry in entries if isinstance(entry, Work))
    loads = tuple(entry for entry in entries if isinstance(entry, Batch))
    return Plan(0, 0, None, 0, False, cases, loads, work)


def test_rounds_of_a_tray_stand_together_and_steps_in_order() -> None:
    way = course(DAY, planned(STERILISER, ASSEMBLY, WASHER, PRECLEAN))
    assert [(made.tray.id, made.number, made.stages) for made in way.rounds] == [(0, 0, tuple(Stage)), (1, 0, ())]
    assert [(step.line, step.end_min) for step in way.steps] == [
        ((0, Stage.PRECLEAN, ""), 10),
        ((0, Stage.WASHER, ""), 115),
        ((0, Stage.ASSEMBLY, ""), 130),
        ((0, Stage.STERILISER, "A"), 180),
    ]
    assert way.serving == {0: 0, 1: 1}


def test_the_second_case_of_a_tray_waits_for_its_second_round() -> None:
    again = Scenario(**{
        **{name: getattr(DAY, name) for name in SMALL_DAY},
        "cases": (DAY.cases[0], replace(DAY.cases[1], start_min=900, accepts=(0,))),
    })  # fmt: skip
    second = (
        Work(0, Stage.PRECLEAN, 530, 540), Batch(0, Stage.WASHER, 540, 615, (0,)),
        Work(0, Stage.ASSEMBLY, 615, 630), Batch(0, Stage.STERILISER, 630, 680, (0,)),
    )  # fmt: skip
    cases = (PlannedCase(1, 0, 710, 875, on_time=True), CASES[0])
    first = (PRECLEAN, WASHER, ASSEMBLY, STERILISER)
    plan = planned(*first, *second, cases=cases)
    assert course(again, plan).serving == {0: 0, 1: 1}
    assert [entry.p50_ready_min for entry in chances(again, plan, NONE, days=1)] == [710, 210]
    early = (replace(second[0], start_min=529, end_min=539), *second[1:])
    with pytest.raises(ValueError, match=r"the preclean takes tray 0 on at 529 min, must not before 530 min\."):
        chances(again, planned(*first, *early, cases=cases), NONE, days=1)
    third = [replace(entry, start_min=entry.start_min + 400, end_min=entry.end_min + 400) for entry in second]
    with pytest.raises(ValueError, match="tray 0 has round 3 after 1 cases, must have a case between"):
        course(again, planned(*first, *second, *third, cases=(CASES[0],)))


def test_a_round_for_no_case_may_be_broken_off() -> None:
    found = chances(DAY, planned(PRECLEAN, WASHER, cases=(replace(CASES[0], tray=None), CASES[1])), NONE, days=1)
    assert [entry.chance for entry in found] == [0.0, 1.0]
    assert found[0].p50_ready_min is None


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (planned(PRECLEAN, WASHER, ASSEMBLY), "tray 0 skips the steriliser before case 0, must pass it"),
        (planned(PRECLEAN, ASSEMBLY), "tray 0 comes to the assembly, must come to the washer first"),
        (planned(Work(9, Stage.PRECLEAN, 0, 10)), "tray 9 is not there, must be one that can be used"),
        (planned(Work(2, Stage.PRECLEAN, 0, 10)), "tray 2 cannot be used that day, must be one that can be used"),
        (planned(cases=(replace(CASES[0], case=7),)), "case 7 is not there, must be one of the day"),
        (planned(cases=(CASES[1], CASES[1])), "case 1 is twice, must be there once"),
        (planned(replace(PRECLEAN, end_min=9), cases=()), "what the preclean does at 0 min is 9 min long, must be 10"),
        (planned(replace(WASHER, trays=()), cases=()), "what the washer does at 40 min is for no tray, must be for"),
        (
            planned(PRECLEAN, replace(WASHER, start_min=39, end_min=114), cases=()),
            "the washer takes tray 0 on at 39 min, must not before 40 min",
        ),
        (
            planned(PRECLEAN, WASHER, replace(ASSEMBLY, start_min=114, end_min=129), cases=()),
            "the assembly takes tray 0 on at 114 min, must not before 115 min",
        ),
    ],
)
def test_what_cannot_be_followed_is_refused(plan: Plan, sentence: str) -> None:
    with pytest.raises(ValueError, match=r"^Cannot follow the plan: .*\. Plan the day anew\.$") as refusal:
        chances(DAY, plan, NONE, days=1)
    assert sentence in str(refusal.value)


def with_trays(*trays: Tray) -> Scenario:
    values = {name: getattr(DAY, name) for name in SMALL_DAY}
    site = DAY.sites[0]
    return Scenario(**{**values, "trays": trays, "cases": (), "sites": (site, replace(site, assembly_benches=0))})


@pytest.mark.parametrize(
    ("trays", "entry", "sentence"),
    [
        (
            (Tray(0, 0, 0, TrayState.PACKED), Tray(1, 3, 0, TrayState.PACKED)),
            Batch(0, Stage.STERILISER, 30, 80, (0, 1)),
            "what the steriliser does at 30 min is of 2 programmes, must be of one",
        ),
        (
            (Tray(0, 0, 0, TrayState.PACKED), Tray(1, 0, 1, TrayState.PACKED)),
            Batch(0, Stage.STERILISER, 30, 80, (0, 1)),
            "what the steriliser does at 30 min is for trays of several sites, must be for those of one",
        ),
        (
            (Tray(0, 0, 0, TrayState.PACKED),),
            Batch(0, Stage.STERILISER, 30, 80, (0, 0)),
            "tray 0 comes to the steriliser, must come to the preclean first",
        ),
        (
            tuple(Tray(number, 0, 0, TrayState.PACKED) for number in range(3)),
            Batch(0, Stage.STERILISER, 30, 80, (0, 1, 2)),
            "what the steriliser does at 30 min is 3 units, must be 2 or fewer",
        ),
        (
            (Tray(0, 0, 1, TrayState.CLEANED),),
            Work(0, Stage.ASSEMBLY, 0, 15),
            "what the assembly does at 0 min is at site 1, must be where there is a assembly",
        ),
    ],
)
def test_a_load_that_no_machine_takes_is_refused(trays: tuple[Tray, ...], entry: Batch | Work, sentence: str) -> None:
    with pytest.raises(ValueError, match=r"^Cannot follow the plan: ") as refusal:
        course(with_trays(*trays), planned(entry, cases=()))
    assert sentence in str(refusal.value)
