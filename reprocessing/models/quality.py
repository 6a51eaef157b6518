"""Non-conformities and what is done about them."""

from __future__ import annotations

from datetime import date
from functools import reduce
from operator import or_
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from instruments.models import Piece
from journal.append_only import append_only
from journal.models import Line, Person
from journal.roles import Role
from reprocessing.models.loads import Load
from reprocessing.models.machines import Machine
from reprocessing.models.recalls import Recall
from reprocessing.quality_states import Cause, QualityState
from trays.models import Pack

ABOUT = ("load", "pack", "piece", "machine", "recall")
"""What a non-conformity can be about: one of these."""

_STATES = [(str(state), str(state)) for state in QualityState]
_CAUSES = [(str(cause), str(cause).capitalize()) for cause in Cause]
_ROLES = [(str(role), str(role)) for role in Role]
_SIGNED = [QualityState.TO_CLOSE, QualityState.CLOSED]


def _only(one: str) -> Q:
    return Q(**{f"{name}__isnull": name != one for name in ABOUT})


class NonconformityQuerySet(models.QuerySet["Nonconformity"]):
    """Non-conformities, chainable."""

    def still_open(self) -> NonconformityQuerySet:
        """Those that are not closed."""
        return self.exclude(state=QualityState.CLOSED)

    def overdue(self, today: date) -> NonconformityQuerySet:
        """Those past their own date, or with a corrective action past its date."""
        late = CorrectiveAction.objects.filter(done_at=None, due_on__lt=today).values("nonconformity")
        return self.still_open().filter(Q(due_on__lt=today) | Q(pk__in=late))

    def told(self) -> NonconformityQuerySet:
        """With what they are about and who signed."""
        return self.select_related(*ABOUT, "piece__part", "raised_by", "proposed_by", "closed_by")


class Nonconformity(models.Model):
    """Something that was not as it must be: raised by anybody, worked off, closed by two persons."""

    code = models.CharField(max_length=20, unique=True)
    state = models.CharField(max_length=20, choices=_STATES, default=QualityState.OPEN)
    cause = models.CharField(max_length=40, choices=_CAUSES)
    description = models.CharField(max_length=400)
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="nonconformities")
    pack = models.ForeignKey(Pack, models.PROTECT, null=True, related_name="nonconformities")
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="nonconformities")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="nonconformities")
    recall = models.ForeignKey(Recall, models.PROTECT, null=True, related_name="nonconformities")
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    due_on = models.DateField(help_text="Day by which it is to be closed.")
    proposed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    objects: ClassVar[Any] = NonconformityQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "nonconformities"
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(QualityState)), name="nonconformity_state_known"),
            models.CheckConstraint(condition=Q(cause__in=list(Cause)), name="nonconformity_cause_known"),
            models.CheckConstraint(condition=~Q(description=""), name="nonconformity_described"),
            models.CheckConstraint(condition=reduce(or_, map(_only, ABOUT)), name="nonconformity_about_one_thing"),
            models.CheckConstraint(
                condition=~Q(state__in=_SIGNED) | Q(proposed_by__isnull=False), name="nonconformity_closure_proposed"
            ),
            models.CheckConstraint(
                condition=~Q(state=QualityState.CLOSED)
                | Q(closed_at__isnull=False, closed_by__isnull=False)
                & ~Q(closed_by=F("proposed_by"))
                & ~Q(closed_by=F("raised_by")),
                name="nonconformity_closed_by_another",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def kind(self) -> str:
        """What kind of thing it is about."""
        return next(name for name in ABOUT if getattr(self, f"{name}_id"))

    @property
    def thing(self) -> Load | Pack | Piece | Machine | Recall:
        """What it is about."""
        found: Load | Pack | Piece | Machine | Recall = getattr(self, self.kind)
        return found


class CorrectiveAction(models.Model):
    """Something that is done about a non-conformity: by whom in the unit, until when, and what came of it."""

    nonconformity = models.ForeignKey(Nonconformity, models.PROTECT, related_name="corrective_actions")
    number = models.PositiveSmallIntegerField()
    what = models.CharField(max_length=300)
    role = models.CharField(max_length=40, choices=_ROLES)
    due_on = models.DateField()
    done_at = models.DateTimeField(null=True)
    done_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=300, blank=True, help_text="What came of it.")

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["nonconformity", "number"], name="corrective_action_once"),
            models.CheckConstraint(condition=Q(role__in=list(Role)), name="corrective_action_role_known"),
            models.CheckConstraint(
                condition=Q(done_at=None, done_by=None, note="")
                | Q(done_at__isnull=False, done_by__isnull=False) & ~Q(note=""),
                name="corrective_action_done_by_name",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}. {self.what}"


@append_only
class NonconformityLine(Line):
    """The trail of a non-conformity."""

    SUBJECT = "nonconformity"
    nonconformity = models.ForeignKey(Nonconformity, models.PROTECT, related_name="lines")
