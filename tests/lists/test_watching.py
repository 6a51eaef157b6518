"""Days are looked at when something was recorded, at set times and after a while; else nobody reads or writes much."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from journal.actions import trails
from journal.models import PolicySetting
from lists.actions import cancel_case, plan_on_time
from lists.models import Case, DayLook, DayPlanRow, ToPlanAnew
from lists.plans.set_times import days_ahead, last_set_time
from lists.reads import day_facts
from lists.states import PlanState
from lists.tasks import watch_cases, watch_changes, watch_days
from tests import makers
from tests.lists import makers as m
from tests.makers import at_once
from tests.test_jobs import now_act, told

pytestmark = pytest.mark.django_db

BERLIN = ZoneInfo("Europe/Berlin")
HOURS = (6, 14, 16)


@pytest.mark.parametrize(
    ("now", "due"),
    [
        ("2026-11-24 05:59", "2026-11-23 16:00"),
        ("2026-11-24 06:00", "2026-11-24 06:00"),
        ("2026-11-24 15:59", "2026-11-24 14:00"),
        ("2026-11-24 23:00", "2026-11-24 16:00"),
        ("2026-03-29 01:30", "2026-03-28 16:00"),  # the night in which the clocks go forward
        ("2026-03-29 07:00", "2026-03-29 06:00"),
    ],
)
def test_the_last_set_time_is_by_the_clock_on_the_wall(now: str, due: str) -> None:
    at, expected = (datetime.fromisoformat(text).replace(tzinfo=BERLIN) for text in (now, due))
    assert last_set_time(at, HOURS) == expected


def listed(days: int = 3) -> None:
    """Cases on the next days, so many of those that are watched."""
    tomorrow = timezone.localdate() + timedelta(days=1)
    day, found = tomorrow, 0
    while found < days:
        if found == 0 or day.weekday() < 5:
            m.case(makers.template(), starts_at=timezone.make_aware(datetime.combine(day, time(10))))
            found += 1
        day += timedelta(days=1)


def planned(*, careful: bool = False, asked_at: datetime | None = None) -> None:
    """Each day has a plan by what holds now."""
    at = timezone.now()
    for day in {case.list.day for case in Case.objects.select_related("list")}:
        facts = day_facts(day, at=at, careful=careful)
        row = DayPlanRow.objects.create(day=day, careful=careful, asked_at=asked_at or at)
        DayPlanRow.objects.filter(pk=row.pk).update(
            state=PlanState.DONE, ended_at=at, result={}, fingerprint=facts.fingerprint
        )


def asked(run: Callable[[], Any] = watch_days) -> list[str]:
    """What is asked of the database."""
    with CaptureQueriesContext(connection) as queries:
        run()
    return [query["sql"] for query in queries]


def test_while_nothing_is_recorded_a_watch_reads_little_and_writes_nothing() -> None:
    listed()
    planned()
    first = asked()
    again = asked()
    assert DayLook.objects.count() == 3
    assert not [sql for sql in again if not sql.startswith("SELECT")]
    assert not [sql for sql in again if "trays_tray" in sql or "instruments_piece" in sql.replace("pieceline", "")]
    assert len(again) < len(first) / 3


def test_what_is_recorded_has_the_days_read_again_and_the_clock_does_after_a_while() -> None:
    listed(1)
    planned()
    watch_days()
    whole, seen = len(asked()), DayLook.objects.get().mark
    makers.piece()
    m.case(makers.template(), starts_at=timezone.now() + timedelta(days=40))
    assert len(asked()) > whole
    assert DayLook.objects.get().mark != seen
    assert len(asked()) == whole
    DayLook.objects.update(looked_at=timezone.now() - timedelta(minutes=11))
    assert len(asked()) > whole


def test_days_are_read_before_anything_is_written() -> None:
    listed()
    said = asked()
    writes = [number for number, sql in enumerate(said) if sql.startswith(("INSERT", "UPDATE", "BEGIN", "SAVEPOINT"))]
    assert writes
    reads_of_trays = [number for number, sql in enumerate(said) if 'FROM "trays_' in sql]
    inside = 0
    for number, sql in enumerate(said):
        inside += sql.startswith(("SAVEPOINT", "BEGIN")) - sql.startswith(("RELEASE", "COMMIT", "ROLLBACK"))
        assert not (inside and number in reads_of_trays)


def test_a_plan_by_careful_times_is_not_made_again_and_again() -> None:
    listed(1)
    planned(careful=True)
    for _ in range(2):
        watch_days()
    assert (ToPlanAnew.objects.count(), DayPlanRow.objects.count()) == (0, 1)


def test_a_plan_older_than_the_last_set_time_is_made_again_and_once() -> None:
    listed(1)
    planned(asked_at=timezone.now() - timedelta(hours=25))
    for _ in range(2):
        watch_days()
    new, old = DayPlanRow.objects.all()
    assert (new.state, new.asked_by, old.state) == (PlanState.ASKED, None, PlanState.DONE)


def test_today_is_planned_at_set_times_too() -> None:
    m.case(makers.template(), starts_at=timezone.localtime().replace(hour=23, minute=0))
    watch_days()
    assert DayPlanRow.objects.get().day == timezone.localdate()


def test_a_day_that_is_changing_waits_for_its_quiet() -> None:
    listed(1)
    planned(asked_at=timezone.now() - timedelta(hours=25))
    case = Case.objects.get()
    m.case(makers.template(), starts_at=case.starts_at)
    watch_days()
    assert (ToPlanAnew.objects.count(), DayPlanRow.objects.count()) == (1, 1)


@pytest.mark.parametrize(("hours", "again"), [((0, 0, 0), True), ((1, 1, 1), False)])
def test_the_set_times_are_those_of_the_policies(hours: tuple[int, ...], again: bool) -> None:
    """A plan asked for at half past midnight is too old once one o'clock has come."""
    for name, hour in zip(("plan_first_hour", "plan_second_hour", "sheet_hour"), hours, strict=True):
        PolicySetting.objects.create(name=name, value=hour, reason="test")
    now = timezone.localtime()
    due = last_set_time(now, hours)
    listed(1)
    planned(asked_at=due + timedelta(minutes=1) if not again else due - timedelta(minutes=1))
    watch_days()
    assert (DayPlanRow.objects.count() == 2) is again


@pytest.mark.jobs
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_watches_at_a_set_time_ask_once() -> None:
    listed(1)
    day = Case.objects.get().list.day
    now = timezone.now()
    answers = at_once(*[lambda: plan_on_time(day, now - timedelta(minutes=1), at=now)] * 8)
    assert sum(answers) == 1 == DayPlanRow.objects.count()


# Notices


@pytest.mark.parametrize(("after", "number"), [(0, 1), (1, 0)])
def test_cases_are_looked_at_as_far_ahead_as_the_policy_says(after: int, number: int) -> None:
    noon = timezone.localtime().replace(hour=12, minute=0)
    last = days_ahead(noon.date(), 3)[-1]
    for day in (noon.date(), noon.date() + timedelta(days=1), last + timedelta(days=after)):
        m.case(m.implant(), starts_at=noon + (day - noon.date()))
    watch_cases()
    assert len(told()) == 2 + number


def test_a_change_is_told_once_it_is_quiet_and_the_unit_is_not_looked_at_again(
    django_assert_max_num_queries: Any,
) -> None:
    cache.clear()
    watch_changes()
    case = m.case(m.implant(), starts_at=timezone.now() + timedelta(days=2))
    watch_changes()
    assert told() == []
    watch_changes()
    assert [cause for cause, _, _ in told()] == [f"case:{case.code}"]
    with django_assert_max_num_queries(len(trails())):
        watch_changes()
    cancel_case(case.code, reason="fever", act=now_act())
    for _ in range(2):
        watch_changes()
    assert told() == []
