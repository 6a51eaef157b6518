"""When something can be back on the shelf, by hand and against every stage."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lists.stages import NEXT, Stage, StageTimes, Whereabouts, clock, next_load, ready_at

NOW = datetime(2026, 11, 24, 9, 0, tzinfo=ZoneInfo("Europe/Berlin"))
TIMES = StageTimes(
    preclean_min=10,
    wash_min=75,
    assemble_min=20,
    sterilise_min=55,
    cooling_min=30,
    release_min=10,
    move_min=10,
    prepare_min=15,
    return_min=25,
)


def minutes(number: int) -> timedelta:
    return timedelta(minutes=number)


# What is left of the chain from each stage, added up by hand from the times above.
LEFT = {
    Stage.STERILE: 0,
    Stage.AWAITING_RELEASE: 40,
    Stage.IN_STERILISER: 95,
    Stage.ASSEMBLED: 95,
    Stage.INSPECTED: 115,
    Stage.CLEANED: 115,
    Stage.IN_WASHER: 190,
    Stage.RETURNED: 200,
    Stage.IN_USE: 225,
}


@pytest.mark.parametrize("stage", Stage)
def test_every_stage_has_its_whole_way_ahead(stage: Stage) -> None:
    assert ready_at(stage, now=NOW, times=TIMES) - NOW == minutes(LEFT[stage])
    assert NEXT[stage]


@pytest.mark.parametrize(
    ("stage", "begun_before", "left"),
    [
        (Stage.IN_WASHER, 30, 190 - 30),
        (Stage.IN_STERILISER, 50, 95 - 50),
        (Stage.AWAITING_RELEASE, 20, 40 - 20),
        (Stage.AWAITING_RELEASE, 300, 10),  # long cooled: the decision is all that is left
        (Stage.IN_WASHER, 300, 190 - 75),  # overdue: it can end now, not in the past
    ],
)
def test_a_step_that_runs_by_itself_counts_what_has_passed(stage: Stage, begun_before: int, left: int) -> None:
    since = NOW - minutes(begun_before)
    assert ready_at(stage, now=NOW, times=TIMES, since=since) - NOW == minutes(left)


@pytest.mark.parametrize(
    ("stage", "loads"), [(Stage.RETURNED, 2), (Stage.IN_WASHER, 2), (Stage.ASSEMBLED, 1), (Stage.AWAITING_RELEASE, 0)]
)
def test_a_load_that_has_not_started_waits_until_it_is_full_unless_it_is_told_not_to(stage: Stage, loads: int) -> None:
    filling = replace(TIMES, fill_min=20)
    assert ready_at(stage, now=NOW, times=filling) - NOW == minutes(LEFT[stage] + 20 * loads)
    at_once = ready_at(stage, now=NOW, times=filling, at_once=True)
    assert at_once - NOW == minutes(LEFT[stage] + 20 * max(0, loads - 1))


def test_a_load_that_runs_waits_for_nothing_of_its_own() -> None:
    filling = replace(TIMES, fill_min=20)
    assert ready_at(Stage.IN_STERILISER, now=NOW, times=filling, since=NOW) - NOW == minutes(95)
    assert ready_at(Stage.IN_WASHER, now=NOW, times=filling, since=NOW) - NOW == minutes(190 + 20)


def test_an_implant_load_waits_for_its_biological_result_while_it_cools() -> None:
    slow = replace(TIMES, biological_min=180)
    assert ready_at(Stage.ASSEMBLED, now=NOW, times=slow, held=True) - NOW == minutes(55 + 180 + 10)
    since = NOW - minutes(100)
    assert ready_at(Stage.AWAITING_RELEASE, now=NOW, times=slow, since=since, held=True) - NOW == minutes(90)
    assert ready_at(Stage.AWAITING_RELEASE, now=NOW, times=slow, since=since) - NOW == minutes(10)


@pytest.mark.parametrize(
    ("stage", "machine", "after_min"),
    [(Stage.RETURNED, "washer", 10), (Stage.INSPECTED, "steriliser", 20), (Stage.ASSEMBLED, "steriliser", 0)],
)
def test_what_goes_into_a_machine_next_and_when(stage: Stage, machine: str, after_min: int) -> None:
    assert next_load(stage, now=NOW, times=TIMES) == (machine, NOW + minutes(after_min))


def test_what_has_passed_every_machine_goes_into_none() -> None:
    assert next_load(Stage.AWAITING_RELEASE, now=NOW, times=TIMES) is None


def test_a_set_in_use_starts_back_when_its_case_is_over() -> None:
    assert ready_at(Stage.IN_USE, now=NOW, times=TIMES, free_at=NOW + minutes(60)) - NOW == minutes(60 + 225)


def test_a_case_that_runs_over_ends_now_at_the_earliest() -> None:
    assert ready_at(Stage.IN_USE, now=NOW, times=TIMES, free_at=NOW - minutes(60)) - NOW == minutes(225)


def test_only_what_is_in_use_waits_for_a_case() -> None:
    late = NOW + minutes(600)
    assert ready_at(Stage.ASSEMBLED, now=NOW, times=TIMES, free_at=late) == ready_at(
        Stage.ASSEMBLED, now=NOW, times=TIMES
    )


def test_a_set_must_be_moved_and_prepared_before_the_start() -> None:
    assert TIMES.deadline(NOW) == NOW - minutes(25)
    assert TIMES.on_table(NOW) == NOW + minutes(25)


@given(st.sampled_from(list(Stage)), st.integers(0, 500), st.integers(0, 500))
def test_nothing_is_ready_before_now_nor_earlier_for_having_begun_later(stage: Stage, begun: int, later: int) -> None:
    early = ready_at(stage, now=NOW, times=TIMES, since=NOW - minutes(begun + later))
    late = ready_at(stage, now=NOW, times=TIMES, since=NOW - minutes(begun))
    assert NOW <= early <= late <= ready_at(stage, now=NOW, times=TIMES)


@given(st.integers(0, 300), st.sampled_from([name for name in StageTimes.__slots__ if name.endswith("_min")]))
def test_no_stage_gets_nearer_when_a_step_takes_longer(more: int, name: str) -> None:
    slower = replace(TIMES, **{name: getattr(TIMES, name) + more})
    for stage in Stage:
        assert ready_at(stage, now=NOW, times=slower) >= ready_at(stage, now=NOW, times=TIMES)


def test_a_time_below_zero_is_no_time() -> None:
    with pytest.raises(ValueError, match="wash_min"):
        replace(TIMES, wash_min=-1)


def test_whereabouts_are_of_a_tray_a_pack_or_a_piece() -> None:
    with pytest.raises(ValueError, match="machine"):
        Whereabouts("M1", "Washer", "machine", "", Stage.STERILE, "here")


def test_a_clock_names_the_day_only_beside_another() -> None:
    assert clock(NOW, NOW + minutes(5)) == "09:00"
    assert clock(NOW, NOW + timedelta(days=1)) == "Tue 24-Nov-2026 09:00"
