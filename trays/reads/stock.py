"""Single-use items and implants on the shelf: by lot and expiry, what was used, and what to order."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from instruments.models import Part, PieceLine
from instruments.reorder import DAYS_PER_WEEK, GREATEST_LEVEL, LEAST_LEVEL, Forecast, Lot, Terms, Usage, forecast
from journal.reads import policies
from trays.models import Content
from trays.states import PackState

ON_THE_SHELF = (PackState.STERILE, PackState.EXPIRED)


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """A lot on the shelf: how many, until when, and in which packs."""

    lot: Lot
    packs: tuple[str, ...]
    expired: bool
    soon: bool


@dataclass(frozen=True, slots=True)
class StockRow:
    """A part that is used once: its lots, the soonest expiry first, its use by week, and what is suggested."""

    part: Part
    lots: tuple[ShelfLot, ...]
    weeks: tuple[int, ...]
    usage: Usage
    forecast: Forecast

    @property
    def count(self) -> int:
        """How many are on the shelf, in date."""
        return sum(shelf.lot.count for shelf in self.lots if not shelf.expired)


def stock_terms(values: Mapping[str, Any]) -> Terms:
    """How items are ordered, by the policies in force; a level beyond the range that can be computed is its end."""
    level = min(max(float(values["service_level_percent"]) / 100, LEAST_LEVEL), GREATEST_LEVEL)
    return Terms(int(values["reorder_lead_days"]), int(values["reorder_review_days"]), level)


def single_use_stock(at: datetime) -> list[StockRow]:
    """Every single-use part that the unit has had, in a number of queries that does not grow with them.

    Use is read off the trail: the week in which an item was first taken out of its pack. What expired on the
    shelf or was given back is no use. The record of a part begins with the first line of any piece of it.

    Args:
        at: the moment of asking.
    """
    values = policies()
    terms, today = stock_terms(values), timezone.localdate(at)
    soon = today + timedelta(days=int(values["expiring_soon_days"]))
    shelf = _shelf()
    began, used = _uses()
    longest = max(1, int(values["usage_weeks"]))
    rows = []
    for part in Part.objects.filter(single_use=True, pieces__isnull=False).distinct().order_by("kind", "code"):
        lots = tuple(
            ShelfLot(lot, packs, expired=_before(lot.expires, today), soon=_before(lot.expires, soon))
            for lot, packs in shelf.get(part.pk, ())
        )
        recorded = min(longest, (today - began[part.pk]).days // DAYS_PER_WEEK) if part.pk in began else 0
        weeks = _by_week(used[part.pk], today, max(recorded, 1))
        usage = Usage(recorded, sum(weeks) if recorded else 0)
        suggested = forecast(part.name, usage, [shelf.lot for shelf in lots], terms, today)
        rows.append(StockRow(part, lots, weeks, usage, suggested))
    return rows


def _before(day: date | None, limit: date) -> bool:
    return day is not None and day < limit


def _shelf() -> dict[int, list[tuple[Lot, tuple[str, ...]]]]:
    """Lots on the shelf by part, the soonest expiry first; what has no expiry comes last."""
    contents = Content.objects.filter(pack__state__in=ON_THE_SHELF, piece__part__single_use=True)
    found: dict[tuple[int, str, date | None], list[str]] = defaultdict(list)
    for part, lot, expires, pack in contents.order_by("pack__code").values_list(
        "piece__part_id", "piece__lot", "piece__expires", "pack__code"
    ):
        found[part, lot, expires].append(pack)
    shelf: dict[int, list[tuple[Lot, tuple[str, ...]]]] = defaultdict(list)
    for (part, lot, expires), packs in sorted(found.items(), key=lambda row: (row[0][2] or date.max, row[0][1])):
        shelf[part].append((Lot(lot, expires, len(packs)), tuple(packs)))
    return shelf


def _uses() -> tuple[dict[int, date], dict[int, list[date]]]:
    """For each single-use part the first day of its record, and the days on which its items were first used."""
    lines = PieceLine.objects.filter(piece__part__single_use=True).order_by("occurred_at", "id")
    began: dict[int, date] = {}
    first: dict[int, tuple[int, date]] = {}
    for part, piece, verb, at in lines.values_list("piece__part_id", "piece_id", "verb", "occurred_at"):
        day = timezone.localdate(at)
        began.setdefault(part, day)
        if verb == "use":
            first.setdefault(piece, (part, day))
    used: dict[int, list[date]] = defaultdict(list)
    for part, day in first.values():
        used[part].append(day)
    return began, used


def _by_week(days: Iterable[date], today: date, weeks: int) -> tuple[int, ...]:
    """How many in each of the last weeks, the oldest first; the last one ends today."""
    ago = Counter((today - day).days // DAYS_PER_WEEK for day in days)
    return tuple(ago[week] for week in reversed(range(weeks)))
