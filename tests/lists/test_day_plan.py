"""A stored plan as people read it, the picture of it, and what changed since the one before."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

from lists.chances.forecast import chances
from lists.chances.noise import NONE
from lists.plans.changes import changed
from lists.plans.day_facts import DayFacts, MachineFact, scenario_of
from lists.plans.day_plan import DayPlan, Step, stored
from lists.plans.gantt import HOUR_WIDTH, LEFT, gantt
from lists.plans.planning import plan
from lists.plans.sites import Stage as PlanStage
from lists.stages import Stage
from tests.lists.test_day_facts import NOW, START, ZONE, case, demand, facts, tray


def made(of: DayFacts, *, sure: bool = True) -> DayPlan:
    """The plan of these facts, through the form in which it is kept."""
    planned = scenario_of(of, now=NOW)
    found = plan(planned.scenario, stop=lambda: True)
    known = chances(planned.scenario, found, NONE, days=10) if sure else ()
    return DayPlan(json.loads(json.dumps(stored(of, planned, found, known))), ZONE)


def test_a_case_says_its_tray_its_slack_and_how_sure_it_is() -> None:
    (row,) = made(facts(case(demand()), trays=(tray(stage=Stage.ASSEMBLED),))).cases
    (only,) = row.trays
    assert (only.code, only.name, only.on_time, only.essential) == ("T1", "Tray T1", True, True)
    assert only.ready_at == NOW + timedelta(minutes=55 + 30 + 10)  # steriliser, cooling, release: the policies
    assert only.deadline_at == START - timedelta(minutes=15 + 10)  # prepare and move
    assert only.slack_min == (only.deadline_at - only.ready_at) / timedelta(minutes=1)
    assert (only.chance, only.nine_of_ten_at) == (1.0, only.ready_at)
    assert (row.on_time, row.chance, row.slack_min) == (True, 1.0, only.slack_min)


def test_without_chances_none_is_said() -> None:
    (row,) = made(facts(case(demand()), trays=(tray(),)), sure=False).cases
    assert (row.trays[0].chance, row.trays[0].nine_of_ten_at) == (None, None)


def test_a_case_is_late_when_a_tray_is_that_it_cannot_do_without() -> None:
    (row,) = made(facts(case(demand(), demand("B")), trays=(tray(),))).cases
    assert (row.on_time, row.slack_min, row.chance) == (False, None, 0.0)
    assert [one.why for one in row.trays] == ["Another of its trays is late", "No tray"]
    (row,) = made(facts(case(demand(), demand("B", essential=False)), trays=(tray(),))).cases
    assert row.on_time
    (row,) = made(facts(case())).cases
    assert (row.on_time, row.chance, row.slack_min) == (True, None, None)


def test_a_late_case_is_told_when_its_tray_could_be_ready_and_its_work_is_in_the_list() -> None:
    """Returned at 18:00: 10 + 75 + 20 + 55 + 40 min make 21:20; needed by 20:35 for 21:00."""
    late = made(facts(case(demand(), starts_at=NOW + timedelta(hours=3)), trays=(tray(stage=Stage.RETURNED),)))
    (one,) = late.cases[0].trays
    assert not one.on_time
    assert one.could_be_at is not None
    assert (f"{one.could_be_at:%H:%M}", one.late_min, one.instead) == ("21:20", 45, "T1")
    assert [step.stage for step in late.steps] == list(PlanStage)
    assert {step.cases for step in late.steps} == {("C1",)}


def test_a_tray_that_cannot_be_used_says_why() -> None:
    (row,) = made(facts(case(demand()), trays=(tray(stopped="Its seal lacks."),))).cases
    assert (row.trays[0].why, row.trays[0].detail) == ("None can be used", "Its seal lacks.")


def test_causes_name_trays_cases_and_the_clock() -> None:
    soon = NOW + timedelta(hours=1)
    (late,) = made(facts(case(demand(), starts_at=soon), trays=(tray(stage=Stage.RETURNED),))).cases
    assert late.trays[0].why == "Too little time"
    assert "the best, tray T1, alone, is sterile at 21:20 on Wed," in late.trays[0].detail  # 10 + 75 + 20 + 55 + 40
    both = facts(case(demand()), case(demand(), code="C2"), trays=(tray("T7"),))
    rows = {row.code: row for row in made(both).cases}
    taken, served = (rows["C1"], "C2") if not rows["C1"].on_time else (rows["C2"], "C1")
    assert taken.trays[0].detail == f"Trays that alone would be in time: T7. They serve the cases {served}."


def test_work_stands_in_order_with_the_case_it_is_for() -> None:
    again = START + timedelta(hours=6)
    day = facts(case(demand()), case(demand(), code="C2", starts_at=again), trays=(tray(stage=Stage.RETURNED),))
    steps = made(day).steps
    assert [step.place for step in steps] == [
        *(first := ["Pre-clean bench", "Washer 1", "Assembly bench", "Steriliser 1"]),
        *first,
    ]
    assert [step.cases for step in steps] == [("C1",)] * 4 + [("C2",)] * 4
    assert steps[0].starts_at == NOW
    assert steps[4].starts_at == START + timedelta(minutes=60 + 25)  # the case and the way back
    read = made(day)
    assert read.next_load(NOW) == steps[1]
    assert read.next_load(steps[1].ends_at) == steps[3]
    assert read.next_load(steps[-1].ends_at) is None


def step(stage: PlanStage, place: str, begin: int, end: int, *codes: str) -> Step:
    starts_at, ends_at = NOW + timedelta(minutes=begin), NOW + timedelta(minutes=end)
    return Step(stage, place, starts_at, ends_at, tuple((code, code) for code in codes), ())


def test_the_picture_has_a_row_for_each_machine_and_place_of_a_bench() -> None:
    picture = gantt(
        [
            step(PlanStage.PRECLEAN, "Pre-clean bench", 30, 40, "T1"),
            step(PlanStage.PRECLEAN, "Pre-clean bench", 35, 45, "T2"),
            step(PlanStage.PRECLEAN, "Pre-clean bench", 40, 50, "T3"),
            step(PlanStage.WASHER, "Washer 1", 60, 120, "T1", "T2", "T3"),
            step(PlanStage.STERILISER, "Steriliser 1", 60, 180, *(f"T00000{number}" for number in range(9))),
        ]
    )
    assert picture is not None
    assert [row.name for row in picture.rows] == ["Pre-clean bench 1", "Pre-clean bench 2", "Washer 1", "Steriliser 1"]
    assert [tick.label for tick in picture.ticks] == ["Wed 18:00", "19:00", "20:00", "21:00", "22:00"]
    bars = {bar.words.split(",")[0]: bar for bar in picture.bars}
    assert (bars["Washer 1"].x, bars["Washer 1"].width) == (LEFT + HOUR_WIDTH, HOUR_WIDTH)
    assert bars["Washer 1"].label == "T1, T2, T3"
    assert bars["Steriliser 1"].label == "9 trays"
    assert bars["Pre-clean bench 2"].label == "1"  # ten minutes hold no more
    assert bars["Washer 1"].words == "Washer 1, 19:00 to 20:00: T1, T2, T3"
    assert bars["Washer 1"].text_x > bars["Washer 1"].x
    assert all(bar.x + bar.width <= picture.width and bar.y < picture.height for bar in picture.bars)


def test_the_picture_shows_what_is_closed() -> None:
    closed = [
        ("Washer 1", NOW - timedelta(hours=3), NOW + timedelta(hours=1)),
        ("Washer 1", NOW + timedelta(days=3), NOW + timedelta(days=4)),
        ("Washer 2", NOW, NOW + timedelta(hours=1)),
    ]
    picture = gantt([step(PlanStage.WASHER, "Washer 1", 0, 120, "T1")], closed)
    assert picture is not None
    (bar,) = picture.closed
    assert (bar.x, bar.y, bar.width) == (LEFT, picture.rows[0].y, HOUR_WIDTH)
    assert bar.words.startswith("Washer 1: closed or nobody there from ")


def test_midnight_in_the_picture_has_its_day_and_no_work_no_picture() -> None:
    picture = gantt([step(PlanStage.WASHER, "Washer 1", 300, 420, "T1")])
    assert picture is not None
    assert [tick.label for tick in picture.ticks] == ["Wed 23:00", "Thu 00:00", "01:00", "02:00"]
    assert gantt([]) is None


def test_changes_since_the_last_plan_are_said_with_what_has_happened() -> None:
    before = facts(case(demand()), case(code="C9"), trays=(tray("T1"), tray("T3", template="B")))
    assert changed(None, made(before)) == ((), ())
    assert changed(made(before), made(before)) == ((), ())
    machine = MachineFact("W2", "Washer 2", washes=True, capacity=6)
    after = replace(
        facts(
            case(demand(), starts_at=START + timedelta(hours=1)),
            case(demand("B"), code="C2"),
            trays=(tray("T1", stopped="Recalled."), tray("T3", template="B", stage=Stage.IN_USE)),
            machines=(machine,),
        ),
        uses_per_tray=1,
    )
    outcomes, causes = changed(made(before), made(after))
    assert outcomes == (
        "Case C1 is late; it was on time.",
        "Case C1 gets no tray; it was to get T1.",
        "Case C2 is new in the plan: late.",
        "Case C9 is no longer in the plan.",
    )
    assert causes == (
        "Case C1: starts at changed.",
        "Case C2 has come.",
        "Case C9 is not there any more.",
        "Tray T1: stopped changed.",
        "Tray T3: in use, was sterile.",
        "Machine S1 is not there any more.",
        "Machine W1 is not there any more.",
        "Machine W2 has come.",
        "Uses per tray is 1, was 2.",
    )
    longer = facts(replace(case(demand()), duration_min=90), trays=(tray("T2"),))
    outcomes, causes = changed(made(facts(case(demand()), trays=(tray("T1"),))), made(longer))
    assert outcomes == ("Case C1 gets T2; it was to get T1.",)
    assert causes[0] == "Case C1: duration 90, was 60."
