"""Pages of machines: their tests, into and out of service, and the loads that a failed test puts in doubt."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from journal.roles import Role
from reprocessing import actions, states
from reprocessing.models import Machine, MachineTest
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import Browser, disabled, machine_of_today, running_now

pytestmark = pytest.mark.django_db
PENETRATION = "steam penetration"


@pytest.fixture
def technician() -> Browser:
    return Browser(make.technician())


@pytest.fixture
def nurse() -> Browser:
    return Browser(makers.person(Role.NURSE))


def page(machine: Machine) -> str:
    return f"/machines/{machine.code}/"


def queries(browser: Browser, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        browser.read(address)
    return len(seen)


def fail(machine: Machine) -> None:
    actions.record_test(machine.code, PENETRATION, passed=False, note="uneven colour", act=act(at=timezone.now()))


def test_machines_say_what_they_run_and_which_tests_are_due(technician: Browser) -> None:
    tested, due, load = machine_of_today(), make.machine(tested=False), running_now(makers.pack())
    text = technician.read("/machines/")
    assert f"{tested.name} Steam steriliser In service Steam penetration is valid until" in text
    assert f"{due.name} Steam steriliser In service Steam penetration is not recorded" in text
    assert f"Runs {load.code} since" in text


def test_a_passed_test_is_recorded_with_its_validity(technician: Browser) -> None:
    machine = make.machine(tested=False)
    assert "Steam penetration is not recorded" in technician.read(page(machine))
    text = technician.send(page(machine) + "test/", kind=PENETRATION, passed="yes", note="sheet 12")
    assert f"The {PENETRATION} test of {machine.name} has passed." in text
    assert "Steam penetration is valid until" in text
    assert MachineTest.objects.get().note == "sheet 12"


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": PENETRATION}, "Cannot take “Result”: it is not recorded"),
        ({"passed": "yes"}, "Cannot take “Test”: it is not recorded"),
        ({"kind": "self-test", "passed": "yes"}, "Cannot take “Test”: it is none of the answers"),
        ({"kind": PENETRATION, "passed": "yes", "note": "n" * 201}, "it has 201 characters, must have at most 200"),
    ],
)
def test_a_test_that_says_too_little_is_refused_in_words(
    technician: Browser, fields: dict[str, str], words: str
) -> None:
    machine = make.machine(tested=False)
    assert words in technician.send(page(machine) + "test/", **fields)
    assert not MachineTest.objects.exists()


def test_a_failed_test_ends_the_service_and_puts_loads_in_doubt(technician: Browser) -> None:
    load = running_now(makers.pack())
    text = technician.send(page(load.machine) + "test/", kind=PENETRATION, passed="no")
    assert "it is out of service" in text
    assert f"In doubt {load.code} running" in text
    assert "Record decision" in disabled(technician.source(page(load.machine)))
    quality = Browser(makers.person(Role.QUALITY))
    test = load.doubts.get().test_id
    back = page(load.machine)
    quality.send(f"/loads/{load.code}/decide/", test_id=test, decision="reject it when it has ended", back=back)
    text = technician.read(page(load.machine))
    assert "Loads in doubt" not in text.partition("Decisions on")[0]
    assert f"{load.code} reject it when it has ended" in text


def test_a_machine_returns_only_when_what_failed_has_passed(technician: Browser) -> None:
    machine = machine_of_today()
    fail(machine)
    assert f"Cannot return {machine.name} to service: its {PENETRATION} test failed on" in technician.read(
        page(machine)
    )
    assert "Return to service" in disabled(technician.source(page(machine)))
    assert "must have passed since" in technician.send(page(machine) + "return-to-service/", reason="looks fine")
    technician.send(page(machine) + "test/", kind=PENETRATION, passed="yes")
    make.cycled(machine, 2, at=timezone.now())
    assert "Test cycles in a row 2 of 3 passed" in technician.read(page(machine))
    assert "must be 3 of 3" in technician.send(page(machine) + "return-to-service/", reason="seal replaced")
    machine.refresh_from_db()
    assert machine.state == states.MachineState.OUT_OF_SERVICE
    make.cycled(machine, 1, at=timezone.now())
    technician.send(page(machine) + "return-to-service/", reason="seal replaced")
    machine.refresh_from_db()
    assert machine.state == states.MachineState.IN_SERVICE
    assert "seal replaced" in technician.read(page(machine))


def test_a_machine_is_taken_out_of_service_with_a_reason(technician: Browser) -> None:
    machine = make.machine()
    address = page(machine) + "take-out-of-service/"
    assert "Cannot take “Reason”: it is not recorded" in technician.send(address)
    assert f"{machine.name} is out of service." in technician.send(address, reason="door seal")
    machine.refresh_from_db()
    assert machine.state == states.MachineState.OUT_OF_SERVICE


def test_who_may_not_test_machines_is_told_so(nurse: Browser) -> None:
    machine = make.machine()
    assert {"Record test", "Take out of service"} <= disabled(nurse.source(page(machine)))
    for verb, fields in (("test", {"kind": PENETRATION, "passed": "no"}), ("take-out-of-service", {"reason": "door"})):
        assert "does not hold the right “test”" in nurse.send(f"{page(machine)}{verb}/", **fields)
    machine.refresh_from_db()
    assert machine.state == states.MachineState.IN_SERVICE


def test_the_list_asks_no_more_questions_of_more_machines(technician: Browser) -> None:
    machine_of_today()
    machine_of_today(states.MachineKind.WASHER)
    technician.read("/machines/")
    few = queries(technician, "/machines/")
    for kind in states.MachineKind:
        machine_of_today(kind)
    running_now(makers.pack())
    assert queries(technician, "/machines/") == few


def test_a_page_asks_no_more_questions_of_more_loads_and_doubts(technician: Browser) -> None:
    machine = machine_of_today()

    def in_doubt() -> None:
        make.ended(make.running(make.load(machine, makers.pack()), at=timezone.now()), at=timezone.now())

    in_doubt()
    fail(machine)
    technician.read(page(machine))
    few = queries(technician, page(machine))
    actions.record_test(machine.code, PENETRATION, passed=True, act=act(at=timezone.now()))
    make.cycled(machine, at=timezone.now())
    actions.return_to_service(machine.code, reason="fit", act=act(at=timezone.now()))
    in_doubt()
    in_doubt()
    fail(machine)
    assert technician.read(page(machine)).count("In doubt L") == 3
    assert queries(technician, page(machine)) == few


def test_of_tests_at_one_moment_the_last_recorded_counts() -> None:
    machine = machine_of_today(at=makers.AT)
    actions.record_test(machine.code, PENETRATION, passed=False, act=act(at=makers.AT))
    latest = machine.tests.latest_of_each_kind(makers.AT)
    assert {(test.kind, test.result) for test in latest} == {
        (PENETRATION, "failed"),
        ("air leakage", "passed"),
        ("warm-up", "passed"),
    }
