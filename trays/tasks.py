"""Jobs on packs: whose shelf life is near its end, and what must be ordered."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from celery import shared_task
from django.db.models import Q
from django.utils import timezone

from journal.actions import Concern, look_and_tell
from journal.reads import policy
from journal.roles import Role
from trays.models import Pack
from trays.reads import single_use_stock
from trays.states import PackState


@shared_task
def watch_expiry() -> None:
    """Tell the technicians which packs on the shelf expire soon, or have expired and are still about."""
    at = timezone.now()
    look_and_tell("expiry", lambda: _expiring(at), at=at)


def _expiring(at: datetime) -> Iterator[Concern]:
    soon = at + timedelta(days=int(policy("expiring_soon_days")))
    packs = Pack.objects.filter(Q(state=PackState.STERILE, use_by__lte=soon) | Q(state=PackState.EXPIRED))
    for pack in packs.select_related("place"):
        day = timezone.localtime(pack.use_by)
        over = pack.use_by < at
        where = f" It is in {pack.place.name}." if pack.place else ""
        yield Concern(
            cause=f"expiry:{pack.code}",
            role=Role.TECHNICIAN,
            sentence=f"{pack.name} {pack.code} {'expired' if over else 'expires'} on {day:%d-%b-%Y}.{where}",
            remedy="Take it from the shelf and send it back to the washer."
            if over
            else "Use it first, or replace it.",
            link=f"/packs/{pack.code}/",
        )


@shared_task
def watch_stock() -> None:
    """Tell the technicians which single-use items and implants are down to their reorder point."""
    at = timezone.now()
    look_and_tell("stock", lambda: _running_low(at), at=at)


def _running_low(at: datetime) -> Iterator[Concern]:
    for row in single_use_stock(at):
        for finding in row.forecast.findings:
            if finding.slug == "stock-low":
                cause = f"stock-low:{row.part.code}"
                yield Concern(cause, Role.TECHNICIAN, finding.sentence, finding.remedy, f"/stock/#{row.part.code}")
