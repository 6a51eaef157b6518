"""When a machine is closed: planned maintenance, and hours in which it does not run."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from journal.models import Person
from reprocessing.models.machines import Machine


class ClosureQuerySet(models.QuerySet["MachineClosure"]):
    """Closures, chainable."""

    def in_force(self, at: datetime) -> ClosureQuerySet:
        """Those that are not lifted and not over, the next one first."""
        return self.filter(lifted_at=None, ends_at__gt=at).order_by("starts_at", "pk")


class MachineClosure(models.Model):
    """A time in which no routine load starts on a machine; lifted when it ends early or is not needed."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="closures")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=400)
    planned_at = models.DateTimeField()
    planned_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = ClosureQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="closure_ends_after_start"),
            models.CheckConstraint(condition=~Q(reason=""), name="closure_has_reason"),
            models.CheckConstraint(
                condition=Q(lifted_at=None, lifted_by=None) | Q(lifted_at__isnull=False, lifted_by__isnull=False),
                name="closure_lifted_by_name",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} closed: {self.reason}"
