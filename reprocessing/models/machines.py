"""Machines, their tests, and the loads that a failed test puts in doubt."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import RowNumber

from instruments.models import Programme
from journal.append_only import append_only
from journal.models import Line, Person, Place
from reprocessing.states import MachineKind, MachineState, Result, TestKind

_KINDS = [(str(kind), str(kind)) for kind in MachineKind]
_STATES = [(str(state), str(state)) for state in MachineState]
_TESTS = [(str(kind), str(kind)) for kind in TestKind]
_RESULTS = [(str(result), str(result)) for result in (Result.PASSED, Result.FAILED)]


class ProgrammePhase(models.Model):
    """What one phase of a low-temperature programme must show."""

    programme = models.ForeignKey(Programme, models.CASCADE, related_name="phases")
    phase = models.CharField(max_length=60, help_text="As the machine records it.")
    quantity = models.CharField(max_length=60, help_text="“duration”, “chamber pressure”.")
    unit = models.CharField(max_length=20)
    least = models.FloatField(null=True, blank=True)
    most = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["programme", "id"]
        constraints = [
            models.UniqueConstraint(fields=["programme", "phase", "quantity"], name="programme_phase_once"),
            models.CheckConstraint(
                condition=Q(least__isnull=False, most=None)
                | Q(least=None, most__isnull=False)
                | Q(least__isnull=False, most__isnull=False, least__lte=models.F("most")),
                name="programme_phase_has_limits",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.phase}: {self.quantity}"


class Machine(models.Model):
    """A washer-disinfector or steriliser."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=40, choices=_KINDS)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="machines")
    state = models.CharField(max_length=20, choices=_STATES, default=MachineState.IN_SERVICE)
    programmes = models.ManyToManyField(Programme, related_name="machines")
    device_number = models.CharField(
        max_length=80, blank=True, help_text="As the machine names itself in its messages; its code serves too."
    )
    capacity = models.PositiveSmallIntegerField(default=8, help_text="Packs or trays in one load.")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(MachineKind)), name="machine_kind_known"),
            models.CheckConstraint(condition=Q(state__in=list(MachineState)), name="machine_state_known"),
            models.UniqueConstraint(
                fields=["device_number"], condition=~Q(device_number=""), name="machine_device_number_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def washes(self) -> bool:
        """Whether its loads hold pieces (a washer) rather than packs."""
        return self.kind == MachineKind.WASHER


class MachineTestQuerySet(models.QuerySet["MachineTest"]):
    """Tests, chainable."""

    def latest_of_each_kind(self, at: datetime) -> MachineTestQuerySet:
        """Of each machine the latest test of each kind up to a moment; of one moment the last recorded."""
        newest = models.Window(
            RowNumber(), partition_by=[models.F("machine"), models.F("kind")], order_by=["-at", "-id"]
        )
        return self.filter(at__lte=at).annotate(newest=newest).filter(newest=1)


@append_only
class MachineTest(models.Model):
    """A periodic test and its result."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="tests")
    kind = models.CharField(max_length=30, choices=_TESTS)
    result = models.CharField(max_length=10, choices=_RESULTS)
    note = models.CharField(max_length=200, blank=True)
    record = models.OneToOneField(
        "reprocessing.Arrival", models.PROTECT, null=True, blank=True, related_name="machine_test"
    )
    judgement = models.JSONField(null=True, help_text="Of its record, by the limits in force then.")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    objects: ClassVar[Any] = MachineTestQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(TestKind)), name="machine_test_kind_known"),
            models.CheckConstraint(
                condition=Q(result__in=[Result.PASSED, Result.FAILED]), name="machine_test_result_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.result}"


@append_only
class MachineLine(Line):
    """The trail of a machine."""

    SUBJECT = "machine"
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="lines")


class Doubt(models.Model):
    """A load that a failed test puts in doubt, until a quality decision."""

    load = models.ForeignKey("reprocessing.Load", models.PROTECT, related_name="doubts")
    test = models.ForeignKey(MachineTest, models.PROTECT, related_name="doubts")
    decision = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    decided_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["load", "test"], name="doubt_once"),
            models.CheckConstraint(
                condition=Q(decision="", decided_by=None, decided_at=None)
                | (~Q(decision="") & Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="doubt_decided_by_name",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.load} in doubt since {self.test}"
