"""People with their duties, places, stations and their scanners."""

from __future__ import annotations

from functools import cached_property

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q

from journal.append_only import append_only
from journal.roles import RIGHTS, Right, Role

ROLES = [(str(role), str(role)) for role in Role]


class Person(AbstractUser):
    """Somebody who signs in; known by a role name, named on a badge."""

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    display_name = models.CharField(max_length=80, help_text="As it stands in the trail: “Technician 2”.")
    badge = models.CharField(max_length=20, unique=True, null=True, blank=True)

    class Meta:
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.display_name or self.username

    @cached_property
    def roles(self) -> frozenset[Role]:
        """The duties this person holds."""
        return frozenset(Role(duty.role) for duty in self.duties.all())

    @cached_property
    def rights(self) -> frozenset[Right]:
        """Every right of every duty; all of them for a superuser, who sets a new unit up."""
        if self.is_superuser:
            return frozenset(Right)
        return frozenset().union(*(RIGHTS[role] for role in self.roles))


class Duty(models.Model):
    """A role that a person holds."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="duties")
    role = models.CharField(max_length=40, choices=ROLES)

    class Meta:
        verbose_name_plural = "duties"
        constraints = [
            models.UniqueConstraint(fields=["person", "role"], name="duty_once"),
            models.CheckConstraint(condition=Q(role__in=list(Role)), name="duty_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.role}"


class Place(models.Model):
    """Where things are: a store, a bench, a theatre, the quarantine box."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Station(models.Model):
    """A shared workplace with a scanner."""

    name = models.CharField(max_length=60, unique=True)
    place = models.ForeignKey(Place, models.PROTECT, related_name="stations")

    def __str__(self) -> str:
        return self.name

    @property
    def scanner(self) -> ScannerCheck | None:
        """The last check of its scanner."""
        return self.scanner_checks.order_by("-id").first()


@append_only
class ScannerCheck(models.Model):
    """What the scanner card showed of a station's scanner; the last one counts."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="scanner_checks")
    at = models.DateTimeField()
    person = models.ForeignKey(Person, models.PROTECT, related_name="+")
    passed = models.BooleanField()
    faults = models.JSONField(default=list, help_text="Each fault in words.")
    text = models.CharField(max_length=200, help_text="As it was read; a separator is U+001D.")

    def __str__(self) -> str:
        return f"{self.station} {'passed' if self.passed else 'not passed'}"
