"""Periodic tests of machines and their water: asked for, recorded, due, and what they forbid."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.utils import timezone

from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Machine, PeriodicResult, PeriodicTest
from reprocessing.periodic import Demanded, Taken, Within, periodic_tests_valid
from reprocessing.reads.periodic import stands_of
from reprocessing.reads.quality import unraised
from reprocessing.states import LoadState, MachineKind
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import Browser

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
db = pytest.mark.django_db
RINSE: dict[str, Any] = {
    "about": "water",
    "unit": "µS/cm",
    "most": 30.0,
    "source": "AS/NZS 4187:2014, as a laboratory quotes it",
}


def asked(name: str = "Weekly safety checks", kind: str = MachineKind.WASHER, **more: Any) -> PeriodicTest:
    fields = {"every_days": 7, "source": "unit policy", **more}
    return PeriodicTest.objects.get(pk=actions.ask_periodic_test(kind, name, **fields, act=act()).pk)


def done(machine: Machine, test: PeriodicTest, **more: Any) -> list[str]:
    """Slugs of what the answer asks to look at."""
    at = more.pop("at", AT)
    if not test.unit:
        more.setdefault("passed", True)
    answer = actions.record_periodic_test(machine.code, test.pk, **more, act=act(at=at))
    return [finding["slug"] for finding in answer.findings]


# The pure rule


@pytest.mark.parametrize(
    "wrong",
    [
        {"unit": "", "most": 1.0},
        {"unit": "EU/mL"},
        {"unit": "pH", "least": 8.0, "most": 5.5},
        {"unit": "pH", "least": float("nan")},
    ],
)
def test_limits_that_are_none(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="A measured test needs"):
        Within(**wrong)


@pytest.mark.parametrize(
    ("quantity", "within", "good", "bad"),
    [
        ("conductivity", Within("µS/cm", most=30), 30.0, 30.1),
        ("total hardness as CaCO3", Within("mg/L", most=50), 50.0, 51.0),
        ("total viable count", Within("cfu/100 mL", most=100), 100.0, 101.0),
        ("endotoxin", Within("EU/mL", most=0.25), 0.25, 0.26),
        ("pH", Within("pH", least=5.5, most=8.0), 5.5, 5.4),
        ("chlorine left", Within("mg/L", least=0.2), 0.2, 0.1),
    ],
)
def test_a_value_on_its_limit_is_within(quantity: str, within: Within, good: float, bad: float) -> None:
    """AS/NZS 4187:2014, limits of the final rinse, as a testing laboratory quotes them; the last row is made up."""
    assert quantity
    assert (within.holds(good), within.holds(bad)) == (True, False)


def test_less_than_is_taken_as_the_value_and_has_no_least() -> None:
    assert Within("EU/mL", most=0.25).holds(0.25, less_than=True)
    assert not Within("EU/mL", most=0.25).holds(0.5, less_than=True)
    with pytest.raises(ValueError, match="no “less than” where"):
        Within("pH", least=5.5, most=8).holds(6, less_than=True)
    with pytest.raises(ValueError, match="finite"):
        Within("EU/mL", most=0.25).holds(float("inf"))


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Within("EU/mL", most=0.25), "at most 0.25 EU/mL"),
        (Within("mg/L", least=1), "at least 1 mg/L"),
        (Within("pH", 5.5, 8), "5.5 to 8 pH"),
    ],
)
def test_limits_in_words(limits: Within, words: str) -> None:
    assert limits.words == words


def demanded(last: Taken | None, *, after: timedelta = HOUR, forbids: bool = True) -> Demanded:
    return Demanded("Leak", 7, forbids, last, AT + after, 5)


@pytest.mark.parametrize(
    ("last", "after", "valid", "words"),
    [
        (None, HOUR, False, "is not recorded"),
        (Taken(True, AT), HOUR, True, "is due on Tue 01-Dec-2026 05:00"),
        (Taken(True, AT), 7 * DAY - 4 * HOUR - timedelta(minutes=1), True, "is due on Tue 01-Dec-2026 05:00"),
        (Taken(True, AT), 7 * DAY - 4 * HOUR, False, "was due on Tue 01-Dec-2026 05:00"),
        (Taken(False, AT), HOUR, False, "failed on Tue 24-Nov-2026 09:00"),
    ],
)
def test_a_period_counts_from_the_start_of_the_machine_day(
    last: Taken | None, after: timedelta, words: str, *, valid: bool
) -> None:
    row = demanded(last, after=after)
    assert (row.valid, row.words) == (valid, words)


def test_what_is_no_period_and_no_result() -> None:
    with pytest.raises(ValueError, match="at least one day"):
        Demanded("Leak", 0, True, None, AT, 5)
    with pytest.raises(ValueError, match="with a zone"):
        Taken(True, AT.replace(tzinfo=None))


def test_a_required_test_stops_and_another_one_is_looked_at() -> None:
    rows = [demanded(None), demanded(None, forbids=False), demanded(Taken(True, AT))]
    found = list(periodic_tests_valid("L1", "Washer", rows))
    assert [(row.slug, row.severity) for row in found] == [
        ("periodic-test-due", "stop"),
        ("periodic-test-due", "look"),
    ]


# The actions


@pytest.mark.storage
@db
def test_5_no_routine_load_starts_while_a_required_periodic_test_lacks_or_failed() -> None:
    load = make.washing()
    test = asked(forbids_start=True)
    assert refused(partial(make.running, load)) == ["periodic-test-due"]
    assert make.ran_empty(load.machine).state == LoadState.RELEASED
    assert done(load.machine, test, passed=False) == ["periodic-test-failed"]
    assert refused(partial(make.running, load)) == ["periodic-test-due"]
    assert done(load.machine, test) == []
    assert refused(partial(make.running, load, at=AT + 7 * DAY)) == ["test-due", "periodic-test-due"]
    assert make.running(load).state == LoadState.RUNNING


@db
def test_a_test_that_is_not_required_is_looked_at_on_the_start() -> None:
    load = make.washing()
    asked()
    answer = actions.start_load(load.code, caps_open=True, act=act())
    assert [finding["slug"] for finding in answer.findings] == ["periodic-test-due"]


@pytest.mark.storage
@db
def test_a_measured_test_is_judged_by_its_limits() -> None:
    washer, test = make.washer(), asked("Final rinse: conductivity", **RINSE)
    assert done(washer, test, value=12.5, reported_by="Laboratory", note="R-77") == []
    assert done(washer, test, value=41.0, at=AT + HOUR) == ["periodic-test-failed"]
    (stand,) = stands_of(washer, AT + HOUR)
    assert stand.result is not None
    assert (stand.result.words, stand.demanded.failed) == ("41 µS/cm", True)
    line = washer.lines.filter(verb="record_periodic_test").latest("id")
    assert line.evidence["found"] == "41 µS/cm"
    # A result of an older sample that comes in later changes nothing.
    assert done(washer, test, value=3.0, taken_at=AT - DAY, at=AT + 2 * HOUR) == []
    assert stands_of(washer, AT + 2 * HOUR)[0].demanded.failed
    assert PeriodicResult.objects.filter(less_than=True).count() == 0


@db
@pytest.mark.parametrize(
    ("test", "said", "found"),
    [
        ({}, {"passed": None}, ["no-result"]),
        ({}, {"passed": True, "value": 1.0}, ["no-result"]),
        (RINSE, {}, ["no-result"]),
        (RINSE, {"value": 1.0, "passed": True}, ["no-result"]),
        (RINSE, {"value": float("nan")}, ["no-result"]),
        ({**RINSE, "least": 1.0}, {"value": 2.0, "less_than": True}, ["no-result"]),
        ({}, {"passed": True, "taken_at": AT + HOUR}, ["taken-later"]),
    ],
)
def test_what_is_no_result(test: dict[str, Any], said: dict[str, Any], found: list[str]) -> None:
    washer, row = make.washer(), asked("Some test", **test)
    assert refused(lambda: actions.record_periodic_test(washer.code, row.pk, **said, act=act())) == found
    assert not PeriodicResult.objects.exists()


@db
def test_a_result_belongs_to_a_test_of_this_machine_that_is_in_force() -> None:
    washer, steamer = make.washer(), make.machine()
    test = asked("Only this one", machine=washer.code)
    other = make.washer()
    for machine in (steamer, other):
        assert refused(partial(done, machine, test)) == ["unknown-code"]
    nurse = act(makers.person(Role.NURSE))
    record = partial(actions.record_periodic_test, washer.code, test.pk, passed=True)
    assert refused(lambda: record(act=nurse)) == ["right-missing"]
    actions.end_periodic_test(test.pk, reason="asked for by nobody", act=act())
    assert refused(partial(done, washer, test)) == ["unknown-code"]
    assert not stands_of(washer, AT)


@db
@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"kind": "oven"}, ["word-unknown"]),
        ({"about": "air"}, ["word-unknown"]),
        ({"name": " "}, ["test-not-named"]),
        ({"source": " "}, ["test-not-named"]),
        ({"every_days": 0}, ["period-out-of-range"]),
        ({"every_days": 9999}, ["period-out-of-range"]),
        ({"most": 1.0}, ["limits-not-consistent"]),
        ({"unit": "EU/mL"}, ["limits-not-consistent"]),
        ({"unit": "pH", "least": 8.0, "most": 5.5}, ["limits-not-consistent"]),
        ({"machine": "M0000000"}, ["unknown-code"]),
    ],
)
def test_what_is_no_periodic_test(said: dict[str, Any], found: list[str]) -> None:
    fields = {"kind": MachineKind.WASHER, "name": "Leak", "every_days": 7, "source": "policy", **said}
    assert refused(lambda: actions.ask_periodic_test(**fields, act=act())) == found
    assert not PeriodicTest.objects.exists()


@db
def test_a_test_is_asked_of_one_machine_of_its_kind_only() -> None:
    steamer = make.machine()
    assert refused(lambda: asked(machine=steamer.code)) == ["machine-of-another-kind"]


@db
def test_asking_for_a_test_and_ending_it_stand_in_the_trail_of_each_machine() -> None:
    first, second, steamer = make.washer(), make.washer(), make.machine()
    technician = act(make.technician())
    ask = partial(actions.ask_periodic_test, MachineKind.WASHER, "Leak", every_days=7, source="policy")
    assert refused(lambda: ask(act=technician)) == ["right-missing"]
    test = ask(act=act()).pk
    assert refused(lambda: actions.end_periodic_test(test, reason="x", act=technician)) == ["right-missing"]
    assert refused(lambda: actions.end_periodic_test(test, reason=" ", act=act())) == ["reason-missing"]
    actions.end_periodic_test(test, reason="replaced", act=act())
    assert refused(lambda: actions.end_periodic_test(test, reason="again", act=act())) == ["unknown-code"]
    verbs = [list(row.lines.exclude(verb="record_test").values_list("verb", flat=True)) for row in (first, second)]
    assert verbs == [["ask_periodic_test", "end_periodic_test"]] * 2
    assert not steamer.lines.exclude(verb="record_test").exists()


@db
def test_a_failed_result_is_offered_as_a_non_conformity() -> None:
    washer, test = make.washer(), asked("Final rinse: endotoxin", **{**RINSE, "unit": "EU/mL", "most": 0.25})
    done(washer, test, value=0.5)
    (event,) = unraised(AT)
    assert (event.thing, event.description) == (
        washer.code,
        "Final rinse: endotoxin: 0.5 EU/mL, must be at most 0.25 EU/mL.",
    )
    actions.raise_nonconformity(event.thing, cause=event.cause, description=event.description, act=act())
    assert unraised(AT) == []


# The pages


@db
def test_a_periodic_test_is_asked_for_recorded_and_ended_on_pages() -> None:
    quality, technician, washer = Browser(makers.everybody()), Browser(make.technician()), make.washer()
    assert "does not hold the right" in technician.read("/machines/periodic-tests/")
    said = {"kind": "washer-disinfector", "about": "water", "name": "Final rinse: hardness", "every_days": "91"}
    text = quality.send("/machines/periodic-tests/", **said, unit="mg/L", most="50", source="policy")
    assert "Final rinse: hardness 91 d at most 50 mg/L Looked at policy" in text
    assert "Final rinse: hardness is not recorded" in technician.read("/machines/")
    test, upkeep = PeriodicTest.objects.get(), f"/machines/{washer.code}/upkeep/"
    text = technician.send(upkeep + "record-periodic/", test=str(test.pk), value="61", reported_by="Laboratory")
    assert "61 mg/L, must be at most 50 mg/L" in text
    assert "Raise" in text
    assert "Cannot" in technician.send(upkeep + "record-periodic/", test="0", value="61")
    text = technician.send(upkeep + "record-periodic/", test=str(test.pk), value="12", less_than="on")
    assert "Less than 12 mg/L" in text
    text = quality.send(f"/machines/periodic-tests/{test.pk}/end/", reason="another limit")
    assert "None is asked for." in text


@db
def test_the_list_of_machines_asks_no_more_for_more_machines(django_assert_max_num_queries: Any) -> None:
    browser = Browser(makers.everybody())
    for number in range(3):
        make.washer(tested=False)
        asked(f"Test {number}")
    with django_assert_max_num_queries(20):
        browser.read("/machines/")


@db
def test_a_result_says_what_it_found() -> None:
    washer, test = make.washer(), asked()
    done(washer, test, passed=False)
    row = PeriodicResult.objects.get()
    assert (str(row), row.words, test.label) == ("Weekly safety checks failed", "failed", "Weekly safety checks")
    assert timezone.localtime(row.taken_at) == AT
