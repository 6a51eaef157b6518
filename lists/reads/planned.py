"""Days that have cases to come, and what the newest plans say of what comes next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from lists.models import DayPlanRow, TheatreList
from lists.plans.day_plan import DayPlan, Step
from lists.states import OPEN_CASES


def listed_days(first: date, last: date) -> set[date]:
    """The days of a range that have open cases."""
    lists = TheatreList.objects.filter(day__range=(first, last), cases__state__in=OPEN_CASES)
    return set(lists.values_list("day", flat=True))


@dataclass(frozen=True, slots=True)
class NextLoad:
    """A load that a plan wants next, and the plan."""

    row: DayPlanRow
    step: Step


def next_planned_load(at: datetime) -> NextLoad | None:
    """The load that begins first, of those that the newest plans of today and of the days to come want.

    Two queries, however many plans there are.
    """
    today, zone = timezone.localdate(at), timezone.get_default_timezone()
    newest: dict[object, int] = {}
    for day, pk in DayPlanRow.objects.filter(day__gte=today).usable().values_list("day", "pk"):
        newest.setdefault(day, pk)
    found = [
        NextLoad(row, step)
        for row in DayPlanRow.objects.filter(pk__in=newest.values()).defer("progress", "outcomes", "causes")
        if row.result and (step := DayPlan(row.result, zone).next_load(at))
    ]
    return min(found, key=lambda one: one.step.starts_at, default=None)
