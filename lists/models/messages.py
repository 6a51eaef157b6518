"""Messages of scheduling systems, kept without anything of the patient, and what their codes mean here."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from journal.models import Person
from lists.intake.scheduling import Booking, Form
from lists.models.cases import Case, Theatre
from lists.models.needs import Procedure, one_of


class MessageState(StrEnum):
    """What became of a message."""

    APPLIED = "applied"
    WAITING = "waiting"
    REFUSED = "refused"
    OVERTAKEN = "overtaken"
    SET_ASIDE = "set aside"


OPEN_MESSAGES = (MessageState.WAITING, MessageState.REFUSED)
"""Somebody must look at a message in one of these."""
_STATES = [(str(state), str(state)) for state in MessageState]
_FORMS = [(str(form), str(form)) for form in Form]


class MessageQuerySet(models.QuerySet["Message"]):
    """Messages, chainable."""

    def still_open(self) -> MessageQuerySet:
        """Those that somebody must look at, in the order in which they were sent."""
        return self.filter(state__in=OPEN_MESSAGES).order_by("sent_at", "pk")


class Message(models.Model):
    """A message as it came, everything of the patient blanked, and what became of it."""

    form = models.CharField(max_length=10, choices=_FORMS)
    sender = models.CharField(max_length=60, help_text="The sending system, as it names itself.")
    control = models.CharField(max_length=60, blank=True, help_text="Its number of the message.")
    fingerprint = models.CharField(max_length=64, unique=True, help_text="Keyed hash of the message as it came.")
    content = models.TextField(help_text="The message without anything of the patient.")
    came_at = models.DateTimeField()
    reference = models.CharField(max_length=40, blank=True, db_index=True, help_text="Its number of the case.")
    verb = models.CharField(max_length=20, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sequence = models.BigIntegerField(null=True, blank=True)
    booking = models.JSONField(null=True, blank=True, help_text="What it says; empty where it cannot be read.")
    state = models.CharField(max_length=10, choices=_STATES)
    sentence = models.TextField(help_text="What was done, or what stands against it.")
    findings = models.JSONField(default=list, blank=True)
    case = models.ForeignKey(Case, models.PROTECT, null=True, blank=True, related_name="messages")
    reason = models.CharField(max_length=400, blank=True, help_text="Why it was set aside.")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(MessageState)), name="message_state_known"),
            models.CheckConstraint(
                condition=(
                    Q(state=MessageState.SET_ASIDE, decided_at__isnull=False, decided_by__isnull=False) & ~Q(reason="")
                )
                | (~Q(state=MessageState.SET_ASIDE) & Q(reason="")),
                name="message_set_aside_by_name",
            ),
            models.CheckConstraint(
                condition=Q(booking__isnull=False, sent_at__isnull=False) & ~Q(reference="")
                | Q(state__in=[MessageState.REFUSED, MessageState.SET_ASIDE]),
                name="message_applied_was_read",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sender} {self.control}".strip()

    def as_booking(self) -> Booking:
        """What it says; only of one that could be read."""
        return Booking.from_dict(self.booking or {})


class TheirCode(models.Model):
    """What a sending system's code of a theatre or a procedure means here."""

    sender = models.CharField(max_length=60)
    code = models.CharField(max_length=60)
    theatre = models.ForeignKey(Theatre, models.PROTECT, null=True, blank=True, related_name="their_codes")
    procedure = models.ForeignKey(Procedure, models.PROTECT, null=True, blank=True, related_name="their_codes")

    class Meta:
        ordering = ["sender", "code"]
        constraints = [
            models.CheckConstraint(
                condition=one_of("theatre", "procedure"), name="their_code_of_theatre_or_procedure"
            ),
            models.UniqueConstraint(
                fields=["sender", "code"], condition=Q(theatre__isnull=False), name="their_code_of_one_theatre"
            ),
            models.UniqueConstraint(
                fields=["sender", "code"], condition=Q(procedure__isnull=False), name="their_code_of_one_procedure"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} of {self.sender}"
