"""The page of a day's plan: asked for, under way, made, out of date."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from journal.roles import Role
from lists import actions
from lists.models import DayPlanRow
from lists.states import PlanState
from lists.tasks import make_plan
from tests.lists import makers as m
from tests.lists.desk import coordinator, day_address, fresh_pack, send, signed_in, soon
from tests.makers import template
from tests.test_jobs import now_act

pytestmark = pytest.mark.django_db


def address() -> str:
    return reverse("day-plan", args=[timezone.localdate(soon())])


def test_a_day_without_a_plan_offers_one_to_who_plans() -> None:
    assert "Plan this day" in coordinator().read(address())
    assert "No plan has been made of this day." in signed_in(Role.NURSE).read(address())
    assert address() in coordinator().client.get(day_address(soon())).content.decode()


def test_a_plan_is_asked_for_and_stopped_from_its_page() -> None:
    desk, day = coordinator(), timezone.localdate(soon())
    page = send(desk, "ask-for-plan", day, careful="on")
    assert "is being made." in page
    assert "Stop, keep the best so far" in page
    row = DayPlanRow.objects.get()
    assert row.careful
    html = desk.client.get(address()).content.decode()
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in html
    assert 'hx-trigger="every 2s"' in html
    DayPlanRow.objects.update(progress={"phase": "slack", "weight": 3, "bound": 5})
    assert "Seeking the best slack: weight on time 3, at most 5." in desk.read(address())
    assert "was stopped; the best found so far is shown." in send(desk, "cancel-plan", day, row.pk)
    assert "must be asked or running" in send(desk, "cancel-plan", day, row.pk)


def test_who_does_not_plan_is_refused() -> None:
    page = send(signed_in(Role.TECHNICIAN), "ask-for-plan", timezone.localdate(soon()))
    assert "Cannot plan" in page
    assert not DayPlanRow.objects.exists()


def test_a_plan_that_failed_says_why() -> None:
    now = timezone.now()
    DayPlanRow.objects.create(day=timezone.localdate(soon()), asked_at=now)
    DayPlanRow.objects.update(state=PlanState.FAILED, ended_at=now, fault="No room.")
    assert "could not be made: No room." in coordinator().read(address())


def test_a_plan_says_what_each_case_gets_and_what_is_done_and_when_it_is_out_of_date() -> None:
    tray = m.tray_of(fresh_pack())
    on_time = m.case(tray.template, starts_at=soon())
    late = m.case(template(), starts_at=soon())
    actions.ask_for_plan(timezone.localdate(soon()), act=now_act())
    make_plan()
    page = coordinator().read(address())
    assert "2 cases, 1 of them late" in page
    assert f"{on_time.code} {on_time.procedure.name}" in page
    assert f"{tray.name} {tray.code}" in page
    assert "100 %" in page
    assert f"{late.code} {late.procedure.name}" in page
    assert "No tray." in page
    assert "Nothing is to be done" in page
    assert "Out of date" not in page
    m.case(tray.template, starts_at=soon())
    assert "Out of date" in coordinator().read(address())
