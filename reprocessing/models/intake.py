"""How a machine's log is read, and records that came by themselves and wait for their load."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from journal.models import Person
from reprocessing.models.loads import Load
from reprocessing.models.machines import Machine


class ArrivalState(StrEnum):
    """Where a record stands that came by itself."""

    WAITING = "waiting"
    MATCHED = "matched"
    SET_ASIDE = "set aside"
    TESTED = "of a test"


_STATES = [(str(state), str(state)) for state in ArrivalState]


class MachineColumns(models.Model):
    """What the columns of a machine's log hold; a machine without it writes names that say it themselves."""

    machine = models.OneToOneField(Machine, models.PROTECT, related_name="columns")
    held = models.JSONField(help_text="Quantity and unit of each column, by its name in the file.")
    header_line = models.PositiveSmallIntegerField(default=1)
    ambient_mbar = models.FloatField(null=True, blank=True, help_text="Air pressure of its room [mbar].")
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"columns of {self.machine}"


class ArrivalQuerySet(models.QuerySet["Arrival"]):
    """Arrivals, chainable."""

    def waiting(self) -> ArrivalQuerySet:
        """Neither matched nor set aside, the oldest first."""
        return self.filter(state=ArrivalState.WAITING).order_by("pk")


class Arrival(models.Model):
    """A record that came by itself: the file as received, until a person says which load it belongs to."""

    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64, unique=True)
    content = models.TextField(blank=True, help_text="The file as received; empty when it is no text.")
    fault = models.TextField(blank=True, help_text="Why it is no text to keep here, and where it lies.")
    device = models.CharField(max_length=80, blank=True, help_text="Of a message: the machine's own number.")
    control_id = models.CharField(max_length=80, blank=True, help_text="Of a message: its own number.")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, blank=True, related_name="arrivals")
    came_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=_STATES, default=ArrivalState.WAITING)
    load = models.ForeignKey(Load, models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=400, blank=True, help_text="Why it was set aside.")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = ArrivalQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(fault="") | Q(content=""), name="arrival_kept_here_or_faulty"),
            models.CheckConstraint(
                condition=Q(state=ArrivalState.WAITING, load=None, reason="", decided_at=None, decided_by=None)
                | Q(state=ArrivalState.MATCHED, load__isnull=False, decided_at__isnull=False, decided_by__isnull=False)
                | Q(state=ArrivalState.TESTED, load=None, decided_at__isnull=False, decided_by__isnull=False)
                | (
                    Q(state=ArrivalState.SET_ASIDE, load=None, decided_at__isnull=False, decided_by__isnull=False)
                    & ~Q(reason="")
                ),
                name="arrival_decided_by_name",
            ),
        ]

    def __str__(self) -> str:
        return self.file_name
