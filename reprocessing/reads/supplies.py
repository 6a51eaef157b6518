"""Questions about the lots that machines draw on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils import timezone

from journal.findings import Finding
from journal.reads import policy
from reprocessing.models import Load, Machine, MachineLot
from reprocessing.supplies import Supply, not_expired


def supply(row: MachineLot) -> Supply:
    """A lot on a machine, as plain values."""
    return Supply(row.product, row.lot, row.expires_on)


def against_lots(load: Load, machine: Machine, at: datetime) -> Iterator[Finding]:
    """What the lots on a machine say against the start of a load."""
    supplies = [supply(row) for row in MachineLot.objects.filter(machine=machine).in_use(at).order_by("product")]
    forbids = bool(policy("expired_lot_forbids"))
    return not_expired("start", load.code, machine.name, supplies, today=timezone.localdate(at), forbids=forbids)


def lots_of_load(load: Load, at: datetime) -> QuerySet[MachineLot]:
    """What a load has drawn on, by product."""
    rows: QuerySet[MachineLot] = MachineLot.objects.during(load, at).order_by("product", "since")
    return rows


def loads_of_lot(lot: str) -> QuerySet[Load]:
    """Every load that ran while a lot of this number was on its machine; one that still runs too."""
    connected = MachineLot.objects.filter(
        Q(since__lte=OuterRef("started_at")) | Q(since__lt=OuterRef("over")),
        Q(until=None) | Q(until__gt=OuterRef("started_at")),
        lot__iexact=lot,
        machine=OuterRef("machine"),
    )
    started = Load.objects.filter(started_at__isnull=False)
    rows: QuerySet[Load] = started.annotate(over=Coalesce(F("ended_at"), timezone.now()))
    return rows.filter(Exists(connected))
