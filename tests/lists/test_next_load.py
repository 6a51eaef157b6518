"""The load that the newest plans want next, on the page of loads and on the work list of a plan."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from journal.roles import Role
from lists import actions
from lists.models import DayPlanRow
from lists.reads import next_planned_load
from lists.tasks import make_plan
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, signed_in, soon
from tests.lists.test_completing import needs_poppler, poppler
from tests.reprocessing import makers as make
from tests.test_jobs import now_act
from trays.models import Tray

pytestmark = pytest.mark.django_db


def planned() -> Tray:
    """A day with a case on time, whose tray waits for its steriliser, and one that no tray is there for."""
    make.machine()
    tray = m.tray_of(makers.pack())
    m.case(tray.template, starts_at=soon())
    m.case(makers.template(), starts_at=soon())
    actions.ask_for_plan(timezone.localdate(soon()), act=now_act())
    make_plan()
    return tray


def test_without_a_plan_nothing_is_said() -> None:
    assert next_planned_load(timezone.now()) is None
    assert "Next load by the plan" not in signed_in(Role.TECHNICIAN).read(reverse("loads"))


def test_the_page_of_loads_names_the_next_load_and_leads_to_its_plan(django_assert_num_queries: Any) -> None:
    tray = planned()
    desk = signed_in(Role.TECHNICIAN)
    assert "Next load by the plan of" in desk.read(reverse("loads"))
    assert f"{tray.name} {tray.code}" in desk.read(reverse("loads"))
    html = desk.client.get(reverse("loads")).content.decode()
    assert reverse("day-plan", args=[timezone.localdate(soon())]) in html
    found = next_planned_load(timezone.now())
    assert found is not None
    assert found.step.is_load
    assert next_planned_load(found.step.ends_at + timedelta(days=1)) is None  # its day is over
    DayPlanRow.objects.create(day=found.row.day, asked_at=timezone.now(), result=found.row.result)
    with django_assert_num_queries(2):
        newer = next_planned_load(timezone.now())
    assert newer is not None
    assert newer.row.pk > found.row.pk


@needs_poppler
def test_the_work_list_has_the_work_in_order_and_what_is_late() -> None:
    tray = planned()
    address = reverse("plan-work-list", args=[timezone.localdate(soon())])
    answer = coordinator().client.get(address)
    assert answer.headers["Content-Type"] == "application/pdf"
    text = " ".join(poppler("pdftotext", "-layout", "-", "-", document=answer.content).split())
    for words in ("2 cases, 1 of them late", tray.code, "Late by the plan", "No tray", "The plan moves nothing"):
        assert words in text
    assert "Out of date" not in text
    m.case(tray.template, starts_at=soon())
    text = poppler("pdftotext", "-", "-", document=coordinator().client.get(address).content)
    assert "Out of date" in text


def test_a_day_without_a_plan_has_no_work_list() -> None:
    assert coordinator().client.get(reverse("plan-work-list", args=[timezone.localdate(soon())])).status_code == 404
