"""The abstract line of the trail, and what every action keeps: policies, receipts, counters."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from journal.models.people import Person, Station
from journal.policies import checked, names


class PolicySetting(models.Model):
    """The unit's own value of a policy; without a row the default holds."""

    name = models.CharField(max_length=40, unique=True, choices=names)
    value = models.JSONField()
    reason = models.CharField(max_length=200, help_text="Source or decision behind the value.")

    def __str__(self) -> str:
        return f"{self.name} = {self.value}"

    def clean(self) -> None:
        """Refuse a value of the wrong kind."""
        from django.core.exceptions import ValidationError  # noqa: PLC0415

        try:
            self.value = checked(self.name, self.value)
        except ValueError as error:
            raise ValidationError(str(error)) from error


class Receipt(models.Model):
    """The stored answer to a request that carried an idempotency key."""

    key = models.CharField(max_length=80, unique=True)
    body_sha256 = models.CharField(max_length=64)
    answer = models.JSONField()
    at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return self.key


class Line(models.Model):
    """One line of the trail: what happened, to what, when, by whom, and why.

    Concrete tables add one PROTECT key to the thing it happened to and name that field in SUBJECT.
    A line is never changed or removed; `corrects` names the line that a new one puts right.
    """

    SUBJECT: ClassVar[str]

    occurred_at = models.DateTimeField()
    received_at = models.DateTimeField(default=timezone.now)
    person = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    station = models.ForeignKey(Station, models.PROTECT, null=True, related_name="+")
    method = models.CharField(max_length=20, help_text="How the person was signed in.")
    verb = models.CharField(max_length=40)
    origin = models.CharField(max_length=30, blank=True)
    target = models.CharField(max_length=30, blank=True)
    reason = models.CharField(max_length=400, blank=True)
    evidence = models.JSONField(default=dict)
    key = models.CharField(max_length=80, blank=True)
    corrects = models.ForeignKey("self", models.PROTECT, null=True, related_name="corrected_by")

    class Meta:
        abstract = True
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.occurred_at:%Y-%m-%d %H:%M} {self.verb}"


class Counter(models.Model):
    """Last number given out for a letter of the unit's own codes."""

    letter = models.CharField(max_length=1, unique=True)
    value = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.letter}{self.value}"
