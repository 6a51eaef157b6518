"""People, places, policies, notices, receipts, and the abstract line of the trail."""

from __future__ import annotations

from functools import cached_property
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.utils import timezone

from journal.append_only import append_only
from journal.ladder import RUNGS
from journal.policies import checked, names
from journal.roles import RIGHTS, Right, Role
from journal.seals import SignedHead

_ROLES = [(str(role), str(role)) for role in Role]


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
    role = models.CharField(max_length=40, choices=_ROLES)

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


WORDS_LENGTH = 300
"""Characters of a notice's sentence, and of its remedy, at most."""


class NoticeQuerySet(models.QuerySet["Notice"]):
    """Notices, chainable."""

    def still_open(self) -> NoticeQuerySet:
        """Those whose cause has not gone."""
        return self.filter(closed_at=None)

    def shown_to(self, person: Person) -> NoticeQuerySet:
        """Those for a role that the person holds, or that have climbed to one."""
        shown = Q(role__in=list(person.roles))
        for rung, role in RUNGS.items():
            if role in person.roles:
                shown |= Q(rung__gte=rung)
        return self.filter(shown)


class Notice(models.Model):
    """Something a role must know; one open row per cause, closed when the cause is gone."""

    topic = models.CharField(max_length=40)
    cause = models.CharField(max_length=120, help_text="Stable name of the cause: “cycles:P000012A”.")
    role = models.CharField(max_length=40, choices=_ROLES)
    sentence = models.CharField(max_length=WORDS_LENGTH)
    remedy = models.CharField(max_length=WORDS_LENGTH, blank=True)
    link = models.CharField(max_length=200, blank=True)
    opened_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    rung = models.PositiveSmallIntegerField(default=0, help_text="How far it has climbed: 0 its role, 1, 2.")
    climbed_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[Any] = NoticeQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["cause", "role"], condition=Q(closed_at=None), name="notice_open_once_per_cause"
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None) | Q(closed_at__gte=models.F("opened_at")),
                name="notice_closes_after_opening",
            ),
            models.CheckConstraint(
                condition=Q(acknowledged_at=None, acknowledged_by=None)
                | Q(acknowledged_at__gte=models.F("opened_at"), acknowledged_by__isnull=False),
                name="notice_acknowledged_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(rung=0, climbed_at=None) | Q(rung__in=list(RUNGS), climbed_at__isnull=False),
                name="notice_climbs_the_rungs",
            ),
        ]

    def __str__(self) -> str:
        return self.sentence

    @property
    def climbed_to(self) -> Role | None:
        """The role it has climbed to, if it has."""
        return RUNGS.get(self.rung)


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


@append_only
class Head(models.Model):
    """A signed head of the tree of everything that only grows; see `journal.seals.SignedHead`."""

    size = models.PositiveBigIntegerField(unique=True)
    root = models.CharField(max_length=64)
    at = models.DateTimeField()
    key = models.CharField(max_length=64)
    signature = models.CharField(max_length=128)
    peaks = models.JSONField()

    class Meta:
        ordering = ["size"]

    def __str__(self) -> str:
        return f"head {self.pk}, {self.size} rows"

    @property
    def signed(self) -> SignedHead:
        """The head as a value, whatever somebody may have made of it."""
        peaks = tuple(str(peak) for peak in self.peaks) if isinstance(self.peaks, list) else ()
        return SignedHead(self.size, self.root, self.at, self.key, self.signature, peaks)


@append_only
class SealedLeaf(models.Model):
    """The place of one row in the order in which rows were sealed, with its hash; `row` is a key of `table`."""

    position = models.PositiveBigIntegerField(unique=True)
    head = models.ForeignKey(Head, models.PROTECT, related_name="leaves")
    table = models.CharField(max_length=63)
    row = models.PositiveBigIntegerField()
    leaf = models.CharField(max_length=64)
    signature = models.CharField(max_length=128)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["table", "row"], name="row_sealed_once")]

    def __str__(self) -> str:
        return f"{self.position}: {self.table} {self.row}"


class Verification(models.Model):
    """A check of the whole trail against its seals: asked for by a person or due by night, answered by a job."""

    night = models.DateField(unique=True, null=True)
    asked_at = models.DateTimeField(default=timezone.now)
    asked_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    rows = models.PositiveBigIntegerField(default=0, help_text="Sealed rows that were read.")
    faults = models.PositiveIntegerField(default=0)
    sentences = models.JSONField(default=list, help_text="The first of what was found.")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(night=None, asked_by__isnull=False) | Q(night__isnull=False, asked_by=None),
                name="verification_nightly_or_asked_for",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.faults} faults in {self.rows} rows"
