"""When days are looked at: the days ahead that are planned by themselves, and the set times of a day."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import date, datetime, time, timedelta

DAYS_AHEAD = 3  # working days after tomorrow
SATURDAY = 5


def days_ahead(today: date, working_days: int = DAYS_AHEAD) -> list[date]:
    """Tomorrow, and the next so many days after it from Monday to Friday."""
    after = today + timedelta(days=1)
    days = [after]
    while len(days) <= working_days:
        after += timedelta(days=1)
        if after.weekday() < SATURDAY:
            days.append(after)
    return days


def days_to_watch(today: date, listed: Callable[[date, date], set[date]]) -> list[date]:
    """The days ahead that have cases."""
    days = days_ahead(today)
    found = listed(days[0], days[-1])
    return [day for day in days if day in found]


def last_set_time(now: datetime, hours: Collection[int]) -> datetime:
    """The last of the hours of a day that has come, of today or of yesterday.

    Args:
        now: aware, in the unit's time zone.
        hours: from 0 to 23, at least one.
    """
    moments = (
        datetime.combine(now.date() - timedelta(days=back), time(hour), tzinfo=now.tzinfo)
        for back in (0, 1)
        for hour in hours
    )
    return max(moment for moment in moments if moment <= now)
