"""Which lot of a detergent or other chemical a machine drew on, from when until when."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from journal.models import Person
from reprocessing.models.loads import Load
from reprocessing.models.machines import Machine


class MachineLotQuerySet(models.QuerySet["MachineLot"]):
    """Lots on machines, chainable."""

    def in_use(self, at: datetime) -> MachineLotQuerySet:
        """Those connected at a moment."""
        return self.filter(Q(until=None) | Q(until__gt=at), since__lte=at)

    def during(self, load: Load, at: datetime) -> MachineLotQuerySet:
        """Those that a load has drawn on, or would draw on if it started at this moment.

        Whatever was connected for any part of the cycle: a container changed in the middle of it names both lots.
        """
        if load.started_at is None:
            return self.filter(machine=load.machine_id).in_use(at)
        before = Q(since__lte=load.started_at) | Q(since__lt=load.ended_at or at)
        return self.filter(before, Q(until=None) | Q(until__gt=load.started_at), machine=load.machine_id)


class MachineLot(models.Model):
    """A lot of a product on a machine; loads are linked to it by the time in which they ran."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="lots")
    product = models.CharField(max_length=80)
    lot = models.CharField(max_length=40)
    expires_on = models.DateField(null=True, blank=True)
    opened_on = models.DateField(null=True, blank=True)
    since = models.DateTimeField()
    since_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    until = models.DateTimeField(null=True, blank=True)
    until_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = MachineLotQuerySet.as_manager()

    class Meta:
        ordering = ["-since", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(product="") & ~Q(lot=""), name="machine_lot_named"),
            models.CheckConstraint(condition=Q(until=None) | Q(until__gte=F("since")), name="machine_lot_ends_later"),
            models.CheckConstraint(
                condition=Q(until=None, until_by=None) | Q(until__isnull=False, until_by__isnull=False),
                name="machine_lot_ended_by_name",
            ),
            models.UniqueConstraint(
                "machine", Lower("product"), condition=Q(until=None), name="machine_lot_one_of_a_product"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product}, lot {self.lot}"
