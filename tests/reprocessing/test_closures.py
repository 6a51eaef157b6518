"""Closures of machines: planned, in force, lifted."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.utils import timezone

from journal.roles import Role
from reprocessing import actions
from reprocessing.models import MachineClosure
from reprocessing.states import LoadState
from reprocessing.upkeep import Closure, closure_in_time
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import Browser

HOUR = timedelta(hours=1)
db = pytest.mark.django_db


@pytest.mark.storage
@db
def test_5_no_routine_load_starts_while_its_machine_is_closed() -> None:
    load = make.load(None, makers.pack())
    machine = load.machine
    actions.plan_closure(machine.code, AT + HOUR, AT + 3 * HOUR, reason="yearly service", act=act())
    for at in (AT + HOUR, AT + 3 * HOUR - timedelta(minutes=1)):
        assert refused(partial(make.running, load, at=at)) == ["machine-closed"]
    assert make.ran_empty(machine, at=AT + 2 * HOUR).state == LoadState.RELEASED
    assert make.running(load, at=AT + 3 * HOUR).state == LoadState.RUNNING


@db
def test_a_closure_is_lifted_with_a_reason_and_both_stand_in_the_trail() -> None:
    load = make.load(None, makers.pack())
    machine = load.machine
    actions.plan_closure(machine.code, AT - HOUR, AT + HOUR, reason="service", act=act())
    closure = MachineClosure.objects.get()
    lift = partial(actions.lift_closure, machine.code, closure.pk)
    assert refused(lambda: lift(reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: lift(reason="done", act=act(makers.person(Role.NURSE)))) == ["right-missing"]
    lift(reason="done early", act=act())
    assert make.running(load).state == LoadState.RUNNING
    assert refused(lambda: lift(reason="again", act=act())) == ["no-such-closure"]
    lines = machine.lines.filter(verb__in=["plan_closure", "lift_closure"])
    assert list(lines.values_list("verb", "reason")) == [("plan_closure", "service"), ("lift_closure", "done early")]


@db
def test_a_closure_needs_a_right_a_reason_and_times_in_order() -> None:
    code = make.washer().code
    plan = partial(actions.plan_closure, code)
    assert refused(lambda: plan(AT, AT + HOUR, reason="", act=act())) == ["reason-missing"]
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: plan(AT, AT + HOUR, reason="service", act=nurse)) == ["right-missing"]
    assert refused(lambda: plan(AT, AT, reason="service", act=act())) == ["closure-ends-early"]
    assert refused(lambda: plan(AT - 2 * HOUR, AT, reason="service", act=act())) == ["closure-over"]
    assert not MachineClosure.objects.exists()


@db
def test_a_closure_says_what_it_is_for() -> None:
    made = MachineClosure(machine=make.washer(), starts_at=AT, ends_at=AT + HOUR, reason="service")
    assert str(made).endswith("closed: service")


@pytest.mark.parametrize(
    "wrong",
    [
        {"starts_at": AT.replace(tzinfo=None)},
        {"ends_at": AT.replace(tzinfo=None)},
        {"ends_at": AT},
        {"reason": ""},
    ],
)
def test_what_is_no_closure(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="A closure"):
        Closure(**{"starts_at": AT, "ends_at": AT + HOUR, "reason": "service", **wrong})


def test_a_closure_in_time_has_nothing_against_it() -> None:
    assert not list(closure_in_time("Steamer", AT, AT + HOUR, now=AT))


@db
def test_a_closure_is_planned_shown_and_lifted_on_the_machines_page() -> None:
    browser, machine = Browser(make.technician()), make.washer()
    page = f"/machines/{machine.code}/"
    assert "None is planned." in browser.read(page)
    now = timezone.localtime()
    times = {"starts_at": f"{now - HOUR:%Y-%m-%dT%H:%M}", "ends_at": f"{now + 2 * HOUR:%Y-%m-%dT%H:%M}"}
    text = browser.send(page + "plan-closure/", **times, reason="pump is changed")
    assert "Closed now" in text
    assert "pump is changed" in browser.read("/machines/")
    closure = MachineClosure.objects.get()
    text = browser.send(page + "lift-closure/", closure_id=str(closure.pk), reason="pump works")
    assert "None is planned." in text
