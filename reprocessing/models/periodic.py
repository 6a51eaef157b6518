"""Periodic tests that the unit asks of its machines and their water, and their results."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import RowNumber

from journal.append_only import append_only
from journal.models import Person
from reprocessing.models.machines import Machine
from reprocessing.periodic import About, Within
from reprocessing.states import MachineKind

_ABOUT = [(str(about), str(about)) for about in About]
_KINDS = [(str(kind), str(kind)) for kind in MachineKind]
_MEASURED = ~Q(unit="") & (Q(least__isnull=False) | Q(most__isnull=False))


class PeriodicTestQuerySet(models.QuerySet["PeriodicTest"]):
    """Periodic tests, chainable."""

    def in_force(self) -> PeriodicTestQuerySet:
        """Those that are still asked for."""
        return self.filter(ended_at=None)

    def of(self, machine: Machine) -> PeriodicTestQuerySet:
        """Those asked of a machine: of its kind, or of it alone."""
        return self.filter(Q(machine=machine) | Q(machine=None), kind=machine.kind)


class PeriodicTest(models.Model):
    """A test that comes due again and again; a changed one is ended and asked for anew."""

    kind = models.CharField(max_length=40, choices=_KINDS, help_text="Kind of machine.")
    machine = models.ForeignKey(
        Machine, models.PROTECT, null=True, blank=True, related_name="+", help_text="This one only; empty: each."
    )
    about = models.CharField(max_length=20, choices=_ABOUT)
    name = models.CharField(max_length=80)
    every_days = models.PositiveSmallIntegerField(help_text="Period [d].")
    forbids_start = models.BooleanField(default=False, help_text="No routine load starts without it.")
    unit = models.CharField(max_length=20, blank=True, help_text="Of a measured value.")
    least = models.FloatField(null=True, blank=True)
    most = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=200, help_text="Where period and limits come from.")
    confirm_locally = models.BooleanField(default=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = PeriodicTestQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "about", "every_days", "name", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(MachineKind)), name="periodic_test_kind_known"),
            models.CheckConstraint(condition=Q(about__in=list(About)), name="periodic_test_about_known"),
            models.CheckConstraint(condition=~Q(name="") & ~Q(source=""), name="periodic_test_named_with_source"),
            models.CheckConstraint(condition=Q(every_days__gte=1), name="periodic_test_has_period"),
            models.CheckConstraint(
                condition=Q(unit="", least=None, most=None) | _MEASURED, name="periodic_test_limits_have_unit"
            ),
            models.CheckConstraint(
                condition=Q(least=None) | Q(most=None) | Q(least__lte=F("most")), name="periodic_test_limits_in_order"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None) | Q(ended_at__isnull=False, ended_by__isnull=False),
                name="periodic_test_ended_by_name",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def label(self) -> str:
        """Its name with its limits."""
        return f"{self.name} ({self.within.words})" if self.within else self.name

    @property
    def within(self) -> Within | None:
        """Its limits; None where the result is passed or failed."""
        return Within(self.unit, self.least, self.most) if self.unit else None


class PeriodicResultQuerySet(models.QuerySet["PeriodicResult"]):
    """Results, chainable."""

    def latest_of_each(self, at: datetime) -> PeriodicResultQuerySet:
        """Of each machine the latest result of each test up to a moment; of one moment the last recorded."""
        newest = models.Window(RowNumber(), partition_by=[F("machine"), F("test")], order_by=["-taken_at", "-id"])
        return self.filter(taken_at__lte=at).annotate(newest=newest).filter(newest=1)


@append_only
class PeriodicResult(models.Model):
    """A result: passed or failed, by its value where it is measured."""

    test = models.ForeignKey(PeriodicTest, models.PROTECT, related_name="results")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="periodic_results")
    passed = models.BooleanField()
    value = models.FloatField(null=True, blank=True, help_text="In the unit of the test.")
    less_than = models.BooleanField(default=False, help_text="Reported as less than the value.")
    taken_at = models.DateTimeField(help_text="Done, or sampled.")
    reported_by = models.CharField(max_length=80, blank=True, help_text="Laboratory or test person.")
    note = models.CharField(max_length=200, blank=True, help_text="Number of the report, remarks.")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    objects: ClassVar[Any] = PeriodicResultQuerySet.as_manager()

    class Meta:
        ordering = ["-taken_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(taken_at__lte=F("at")), name="periodic_result_taken_before"),
            models.CheckConstraint(
                condition=Q(less_than=False) | Q(value__isnull=False), name="periodic_result_less_than_a_value"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.test} {'passed' if self.passed else 'failed'}"

    @property
    def words(self) -> str:
        """The value with its unit, or whether it passed."""
        if self.value is None:
            return "passed" if self.passed else "failed"
        return f"{'less than ' if self.less_than else ''}{self.value:g} {self.test.unit}"
