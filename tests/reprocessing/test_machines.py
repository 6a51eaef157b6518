"""Machines: tests, into and out of service."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

import pytest
from django.db import IntegrityError

from journal.actions import Act
from journal.findings import Refused
from journal.roles import Role
from reprocessing import actions, reads, states
from reprocessing.models import Doubt, Machine, MachineTest
from reprocessing.states import MachineState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import MORNING, refused

pytestmark = pytest.mark.django_db


def again(machine: Machine) -> Machine:
    machine.refresh_from_db()
    return machine


def fail(machine: Machine, kind: str = "steam penetration") -> None:
    actions.record_test(machine.code, kind, passed=False, act=act())


def test_the_tests_of_a_machine_day_become_valid_one_by_one() -> None:
    machine = make.machine(tested=False)
    kinds = [standing.kind for standing in reads.tests_due(machine, AT)]
    assert kinds == ["steam penetration", "air leakage", "warm-up"]
    for left, kind in zip(([kinds[1], kinds[2]], [kinds[2]], []), kinds, strict=True):
        actions.record_test(machine.code, kind, passed=True, note="sheet 12", act=act(at=MORNING))
        assert [standing.kind for standing in reads.tests_due(machine, AT)] == left
    assert MachineTest.objects.filter(machine=machine, note="sheet 12").count() == 3
    assert machine.lines.count() == 3


def test_how_long_a_test_counts_is_the_units_own() -> None:
    washer = make.washer()
    assert reads.standings_of(washer, AT)[0].valid
    make.policy("self_test_h", 3)
    assert not reads.standings_of(washer, AT)[0].valid


def test_the_hour_of_the_machine_day_is_the_units_own() -> None:
    make.policy("machine_day_hour", 7)
    assert {row.kind for row in reads.tests_due(make.machine(), AT)} == {
        "steam penetration",
        "warm-up",
    }  # tested at 06:00
    assert reads.standings_of(make.washer(), AT - timedelta(hours=2, minutes=30))[0].valid


def test_a_machine_has_its_own_tests_only() -> None:
    assert refused(lambda: fail(make.washer())) == ["no-such-test"]
    assert refused(lambda: actions.record_test("M-NONE", "warm-up", passed=True, act=act())) == ["unknown-code"]
    by = act(makers.person(Role.NURSE))
    machine = make.machine()
    assert refused(lambda: actions.record_test(machine.code, "warm-up", passed=True, act=by)) == ["right-missing"]


def test_a_failed_warm_up_is_repeated_without_ending_the_service() -> None:
    machine = make.machine()
    done = actions.record_test(machine.code, "warm-up", passed=False, act=act())
    assert (done.state, done.next_step) == (MachineState.IN_SERVICE, "Run it again.")
    assert not Doubt.objects.exists()


def test_a_failure_without_any_passed_test_puts_every_load_in_doubt() -> None:
    machine = make.machine(tested=False)
    load = make.load(machine, kind=states.LoadKind.TEST)
    actions.start_load(load.code, caps_open=False, act=act())
    load = make.load(machine, makers.pack())
    MachineTest.objects.create(machine=machine, kind="warm-up", result="passed", at=MORNING, by=makers.everybody())
    type(load).objects.filter(pk=load.pk).update(state="awaiting release", started_at=MORNING, ended_at=AT)
    fail(machine)
    assert list(Doubt.objects.values_list("load", flat=True)) == [load.pk]  # the test load held nothing


def test_a_second_failure_finds_the_machine_out_of_service_already() -> None:
    machine = make.machine()
    fail(machine)
    fail(machine, "air leakage")
    assert again(machine).state == MachineState.OUT_OF_SERVICE
    assert machine.lines.filter(verb="take_out_of_service").count() == 1


def test_a_machine_returns_when_what_failed_has_passed_since() -> None:
    machine = make.machine()
    fail(machine)
    assert refused(lambda: actions.return_to_service(machine.code, reason="seal changed", act=act())) == [
        "test-failed",
        "too-few-test-cycles",
    ]
    actions.record_test(machine.code, "steam penetration", passed=True, act=act(at=AT + timedelta(hours=1)))
    make.cycled(machine, at=AT + timedelta(hours=1))
    actions.return_to_service(machine.code, reason="seal changed", act=act(at=AT + timedelta(hours=2)))
    assert again(machine).state == MachineState.IN_SERVICE


def test_5_a_steriliser_returns_after_three_test_cycles_passed_in_a_row_that_hold_nothing() -> None:
    machine = make.machine()
    make.cycled(machine, 2)  # before it went out: they count no more
    actions.take_out_of_service(machine.code, reason="door seal", act=act(at=AT + timedelta(minutes=1)))
    back = partial(actions.return_to_service, machine.code, reason="seal changed", act=act(at=AT + timedelta(hours=2)))
    for hour, passed in enumerate((True, False, True, True)):
        make.ran_empty(machine, at=AT + timedelta(hours=1, minutes=hour), passed=passed)
        assert refused(back) == ["too-few-test-cycles"]
    with pytest.raises(Refused, match=r"2 of 3 passed, must be 3 of 3"):
        back()
    last = make.load(machine, kind=states.LoadKind.TEST)
    pack = makers.pack()
    assert "test-load-holds-nothing" in refused(lambda: actions.add_pack(last.code, pack.code, act=act()))
    make.ran_empty(machine, at=AT + timedelta(hours=2))
    assert back().state == MachineState.IN_SERVICE
    assert machine.lines.get(verb="return_to_service").evidence == {"test_cycles": "3 of 3 passed"}


def test_the_number_of_test_cycles_is_the_units_own_and_a_washer_has_its_own() -> None:
    make.policy("return_cycles_steriliser", 0)
    steamer, washer = make.machine(), make.washer()
    for machine in (steamer, washer):
        actions.take_out_of_service(machine.code, reason="service", act=act())
    assert actions.return_to_service(steamer.code, reason="serviced", act=act()).state == MachineState.IN_SERVICE
    back = partial(actions.return_to_service, washer.code, reason="serviced", act=act())
    assert refused(back) == ["too-few-test-cycles"]
    make.ran_empty(washer)
    assert back().state == MachineState.IN_SERVICE


def test_out_of_service_and_back_need_a_reason_a_right_and_the_other_state() -> None:
    machine = make.machine()
    by = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.take_out_of_service(machine.code, reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: actions.return_to_service(machine.code, reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: actions.return_to_service(machine.code, reason="fit", act=act())) == ["wrong-state"]
    assert refused(lambda: actions.take_out_of_service(machine.code, reason="leak", act=by)) == ["right-missing"]
    actions.take_out_of_service(machine.code, reason="leak", act=act())
    line = machine.lines.get(verb="take_out_of_service")
    assert (line.origin, line.target, line.reason) == ("in service", "out of service", "leak")


def test_a_line_that_fails_leaves_no_test_behind() -> None:
    machine = make.machine()
    number = MachineTest.objects.count()
    nobody = Act(by=makers.everybody(), at=AT, method=None)  # type: ignore[arg-type]
    with pytest.raises(IntegrityError):
        actions.record_test(machine.code, "steam penetration", passed=False, act=nobody)
    assert MachineTest.objects.count() == number
    assert again(machine).state == MachineState.IN_SERVICE
