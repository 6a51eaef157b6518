"""Notices, the channels by which they leave the unit, and what was sent by each."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import uuid4

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from journal.ladder import RUNGS
from journal.models.people import ROLES, Person
from journal.outside import CHANNELS, CLIMBING, ChannelKind, DeliveryState, Outgoing
from journal.roles import Role

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
    role = models.CharField(max_length=40, choices=ROLES)
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


LONGEST_ADDRESS = 200
"""Characters of a channel's address at most."""
_KINDS = [(str(kind), str(kind)) for kind in ChannelKind]


class ChannelQuerySet(models.QuerySet["Channel"]):
    """Channels, chainable."""

    def in_use(self) -> ChannelQuerySet:
        """Those that nobody has closed."""
        return self.filter(closed_at=None)


class Channel(models.Model):
    """An address outside the unit to which the notices of a role go; closed, never changed or removed."""

    kind = models.CharField(max_length=10, choices=_KINDS)
    address = models.CharField(max_length=LONGEST_ADDRESS)
    role = models.CharField(max_length=40, choices=ROLES, blank=True, help_text="Empty: each role.")
    every_topic = models.BooleanField(default=False, help_text="Also what can wait for a working day.")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = ChannelQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(ChannelKind)), name="channel_kind_known"),
            models.CheckConstraint(condition=~Q(address=""), name="channel_leads_somewhere"),
            models.UniqueConstraint(
                fields=["kind", "address", "role"], condition=Q(closed_at=None), name="channel_open_once"
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_by=None) | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="channel_closed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.address}"

    def takes(self, notice: Notice) -> bool:
        """Whether a notice leaves by it from the rung on which it stands."""
        if self.role and self.role != (notice.climbed_to or notice.role):
            return False
        return notice.topic != CHANNELS and (self.every_topic or notice.topic in CLIMBING)


class DeliveryQuerySet(models.QuerySet["Delivery"]):
    """Deliveries, chainable."""

    def still_open(self) -> DeliveryQuerySet:
        """Those that are to be sent."""
        return self.filter(delivered_at=None, withdrawn_at=None, given_up_at=None)

    def unsent(self) -> DeliveryQuerySet:
        """Those that could not be sent."""
        return self.filter(given_up_at__isnull=False)


class Delivery(models.Model):
    """One notice on one channel from one rung: written with it, sent by a job, at least once."""

    notice = models.ForeignKey(Notice, models.PROTECT, related_name="deliveries")
    channel = models.ForeignKey(Channel, models.PROTECT, related_name="deliveries")
    rung = models.PositiveSmallIntegerField()
    reference = models.UUIDField(unique=True, default=uuid4, help_text="The same at each attempt.")
    made_at = models.DateTimeField()
    due_at = models.DateTimeField(help_text="When it is tried next.")
    attempts = models.PositiveSmallIntegerField(default=0)
    answer = models.CharField(max_length=WORDS_LENGTH, blank=True, help_text="What the other side said last.")
    delivered_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="The notice was handled before it was sent.")
    given_up_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[Any] = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "deliveries"
        indexes = [
            models.Index(
                fields=["due_at"],
                condition=Q(delivered_at=None, withdrawn_at=None, given_up_at=None),
                name="delivery_to_send",
            )
        ]
        constraints = [
            models.UniqueConstraint(fields=["notice", "channel", "rung"], name="delivery_once_per_rung"),
            models.CheckConstraint(condition=Q(rung__in=[0, *RUNGS]), name="delivery_rung_known"),
            models.CheckConstraint(
                condition=Q(delivered_at=None, withdrawn_at=None)
                | Q(delivered_at=None, given_up_at=None)
                | Q(withdrawn_at=None, given_up_at=None),
                name="delivery_ends_one_way",
            ),
            models.CheckConstraint(
                condition=Q(delivered_at=None, given_up_at=None) | Q(attempts__gte=1), name="delivery_was_tried"
            ),
        ]

    def __str__(self) -> str:
        return f"notice {self.notice_id} by {self.channel}"

    @property
    def state(self) -> DeliveryState:
        """What has become of it."""
        if self.delivered_at:
            return DeliveryState.SENT
        if self.withdrawn_at:
            return DeliveryState.WITHDRAWN
        return DeliveryState.UNSENT if self.given_up_at else DeliveryState.WAITING

    @property
    def for_role(self) -> Role:
        """Whose turn it was on its rung."""
        return RUNGS.get(self.rung, Role(self.notice.role))

    @property
    def outgoing(self) -> Outgoing:
        """What leaves the unit."""
        return Outgoing(
            str(self.reference),
            self.notice_id,
            self.notice.topic,
            self.notice.cause,
            self.for_role,
            self.rung,
            timezone.localtime(self.notice.opened_at),
            f"{settings.SITE_ADDRESS}/notices/{self.notice_id}/",
        )
