"""The rules of loads on plain values. Machine days and validities: common practice, no source."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.findings import Finding, Severity
from journal.roles import Right
from reprocessing import rules, states
from reprocessing.rules import Standing

BERLIN = ZoneInfo("Europe/Berlin")
PENETRATION, LEAKAGE = states.TestKind.STEAM_PENETRATION, states.TestKind.AIR_LEAKAGE
WANTED = {PENETRATION: 24, LEAKAGE: 168}


def at(day: int, hour: int, minute: int = 0, *, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=BERLIN)


def slugs(findings: object) -> list[str]:
    found = list(findings)  # type: ignore[call-overload]
    assert all(isinstance(finding, Finding) and finding.severity is Severity.STOP for finding in found)
    return [finding.slug for finding in found]


@pytest.mark.parametrize(
    ("moment", "start"),
    [
        (at(24, 5), at(24, 5)),
        (at(24, 4, 59), at(23, 5)),
        (at(24, 23, 59), at(24, 5)),
        (at(25, 0), at(24, 5)),
        # The clock steps back on 25-Oct-2026 and forward on 29-Mar-2026: the day still begins by the clock.
        (at(25, 4, 59, month=10), at(24, 5, month=10)),
        (at(25, 5, month=10), at(25, 5, month=10)),
        (at(29, 5, month=3), at(29, 5, month=3)),
    ],
)
def test_a_machine_day_begins_at_its_hour(moment: datetime, start: datetime) -> None:
    assert rules.machine_day_start(moment, 5) == start


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1), timezones=st.just(BERLIN)),  # noqa: DTZ001 - as it wants
    st.integers(0, 23),
)
def test_a_machine_day_is_never_longer_than_a_day_by_the_clock(moment: datetime, hour: int) -> None:
    start = rules.machine_day_start(moment, hour)
    assert (start.hour, start.minute, start.second, start.microsecond) == (hour, 0, 0, 0)
    assert 0 <= (moment.replace(tzinfo=None) - start.replace(tzinfo=None)).total_seconds() < 24 * 3600


def test_there_is_no_hour_twenty_four() -> None:
    with pytest.raises(ValueError, match="hour"):
        rules.machine_day_start(at(24, 5), 24)


def standing(*tests: rules.Tested, moment: datetime) -> Standing:
    return rules.standings(tests, wanted={PENETRATION: 24}, at=moment, day_hour=5)[0]


def test_a_test_counts_from_the_start_of_its_machine_day() -> None:
    late = rules.Tested(PENETRATION, passed=True, at=at(25, 4))  # still the machine day of the 24th
    assert standing(late, moment=at(25, 4, 59)).valid
    assert not standing(late, moment=at(25, 5)).valid
    assert standing(late, moment=at(25, 5)).valid_until == at(25, 5)


def test_the_latest_test_counts_and_later_ones_do_not_exist_yet() -> None:
    passed, failed = (
        rules.Tested(PENETRATION, passed=result, at=at(24, hour)) for result, hour in ((True, 6), (False, 7))
    )
    assert standing(failed, passed, moment=at(24, 6, 30)).valid
    found = standing(failed, passed, moment=at(24, 8))
    assert not found.valid
    assert found.last == failed
    assert found.words == "failed on Tue 24-Nov-2026 07:00"
    assert standing(failed, passed, rules.Tested(PENETRATION, passed=True, at=at(24, 8)), moment=at(24, 9)).valid


def test_a_test_that_was_never_done_is_not_recorded() -> None:
    found = standing(rules.Tested(LEAKAGE, passed=True, at=at(24, 6)), moment=at(24, 8))
    assert found == Standing(PENETRATION, None, None, valid=False)
    assert found.words == "is not recorded"


def test_standings_come_in_the_order_wanted() -> None:
    tests = [rules.Tested(LEAKAGE, passed=True, at=at(18, 6)), rules.Tested(PENETRATION, passed=True, at=at(24, 6))]
    found = rules.standings(tests, wanted=WANTED, at=at(24, 8), day_hour=5)
    assert [(row.kind, row.valid) for row in found] == [(PENETRATION, True), (LEAKAGE, True)]
    assert found[1].words == "is valid until Wed 25-Nov-2026 05:00"


def test_a_test_without_a_zone_is_malformed() -> None:
    with pytest.raises(ValueError, match="zone"):
        rules.Tested(PENETRATION, passed=True, at=datetime(2026, 11, 24, 6))  # noqa: DTZ001


READY = Standing(PENETRATION, rules.Tested(PENETRATION, passed=True, at=at(24, 6)), at(25, 5), valid=True)
EXPIRED = Standing(PENETRATION, rules.Tested(PENETRATION, passed=True, at=at(23, 6)), at(24, 5), valid=False)


@pytest.mark.parametrize(
    ("in_service", "running", "test", "found"),
    [
        (True, None, READY, []),
        (False, None, READY, ["machine-out-of-service"]),
        (True, "L2", READY, ["machine-running"]),
        (True, None, EXPIRED, ["test-due"]),
        (False, "L2", EXPIRED, ["machine-out-of-service", "machine-running", "test-due"]),
    ],
)
def test_a_machine_is_ready(in_service: bool, running: str | None, test: Standing, found: list[str]) -> None:
    assert slugs(rules.machine_ready("L1", "S-1", in_service=in_service, running=running, tests=[test])) == found


def test_a_due_test_says_until_when_it_was_valid() -> None:
    (finding,) = rules.machine_ready("L1", "Steriliser 1", in_service=True, running=None, tests=[EXPIRED])
    assert finding.sentence == (
        "Cannot start L1: the steam penetration test of Steriliser 1 was valid until Tue 24-Nov-2026 05:00, "
        "must be passed and valid for the current machine day."
    )


@pytest.mark.parametrize(
    ("wanted", "builders", "alone", "found"),
    [
        (True, [1], "", ["built-alone"]),
        (True, [1], "  ", ["built-alone"]),
        (True, [1], "night", []),
        (True, [1, 2], "", []),
        (True, [2], "", []),
        (False, [1], "", []),
    ],
)
def test_second_person(wanted: bool, builders: list[int], alone: str, found: list[str]) -> None:
    given_ = rules.second_person("L1", wanted=wanted, builders=builders, releaser=1, name="Technician 1", alone=alone)
    assert slugs(given_) == found


def test_validated_names_each_part() -> None:
    found = list(rules.validated("start", "L1", "Steam 134", ["telescope", "seal"]))
    assert slugs(found) == ["programme-not-validated"] * 2
    assert "for seal" in found[1].sentence
    assert slugs(rules.validated("start", "L1", "Steam 134", [])) == []


@pytest.mark.parametrize(
    ("washes", "routine", "immediate_pack", "immediate_programme", "implant", "found"),
    [
        (False, True, False, False, True, []),
        (False, True, True, True, False, []),
        (True, True, False, False, False, ["washer-takes-pieces"]),
        (False, False, False, False, False, ["test-load-holds-nothing"]),
        (False, True, True, False, False, ["immediate-use-apart"]),
        (False, True, False, True, False, ["immediate-use-apart"]),
        (False, True, True, True, True, ["immediate-use-implant"]),
    ],
)
def test_what_a_load_takes(
    washes: bool, routine: bool, immediate_pack: bool, immediate_programme: bool, implant: bool, found: list[str]
) -> None:
    given_ = rules.pack_suits_load(
        "K1",
        washes=washes,
        routine=routine,
        immediate_pack=immediate_pack,
        immediate_programme=immediate_programme,
        holds_implant=implant,
    )
    assert slugs(given_) == found


def test_a_full_load_takes_no_more() -> None:
    assert slugs(rules.has_room("K1", "L1", held=7, capacity=8)) == []
    (finding,) = rules.has_room("K1", "L1", held=8, capacity=8)
    assert finding.numbers == {"held": 8, "capacity": 8}


def test_a_verb_may_happen_in_some_states_only() -> None:
    assert slugs(rules.wrong_state("add to", "L1", "building", "building")) == []
    (finding,) = rules.wrong_state("add to", "L1", "running", "building", "awaiting release")
    assert finding.sentence == "Cannot add to L1: it is running, must be building or awaiting release."


@pytest.mark.parametrize(
    ("state", "rights", "found"),
    [
        ("building", {Right.STERILISE}, []),
        ("building", {Right.WASH}, ["right-missing"]),
        ("running", {Right.STERILISE}, ["wrong-state"]),
        ("running", set(), ["right-missing", "wrong-state"]),
    ],
)
def test_a_step_needs_its_state_and_its_right(state: str, rights: set[Right], found: list[str]) -> None:
    step = states.LOAD_STEPS["add_pack"]
    assert slugs(rules.against_step(step, subject="L1", state=state, rights=rights)) == found


def test_only_a_test_that_failed_last_keeps_a_machine_out_of_service() -> None:
    failed = Standing(LEAKAGE, rules.Tested(LEAKAGE, passed=False, at=at(24, 6)), None, valid=False)
    never = Standing(LEAKAGE, None, None, valid=False)
    assert slugs(rules.failed_last("M1", "Steriliser 1", [READY, EXPIRED, never, failed])) == ["test-failed"]


def test_a_routine_load_holds_something() -> None:
    assert slugs(rules.holds_something("L1", held=1)) == []
    assert slugs(rules.holds_something("L1", held=0)) == ["load-empty"]
