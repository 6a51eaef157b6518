"""Quarantine boxes: what was used on a patient with suspected prion disease, kept from the washer."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from instruments.box_states import HELD, BoxState
from instruments.models.pieces import Piece
from journal.append_only import append_only
from journal.models import Line, Person, Place

_STATES = [(str(state), str(state)) for state in BoxState]
_DECIDED = [BoxState.RULED_OUT, BoxState.DESTROYED]


class BoxQuerySet(models.QuerySet["QuarantineBox"]):
    """Quarantine boxes, chainable."""

    def held(self) -> BoxQuerySet:
        """Those on which nobody has decided yet."""
        return self.filter(state__in=list(HELD))


class QuarantineBox(models.Model):
    """A labelled, sealed box of one case; it leaves by a named decision with its reason, and only whole."""

    code = models.CharField(max_length=20, unique=True)
    state = models.CharField(max_length=20, choices=_STATES, default=BoxState.OPEN)
    reference = models.CharField(max_length=40, help_text="Pseudonymous reference of the case.")
    ground = models.CharField(max_length=400, help_text="Why it is kept apart.")
    place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="+")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    sealed_at = models.DateTimeField(null=True)
    decision = models.CharField(max_length=400, blank=True, help_text="Reason of the decision.")
    decided_at = models.DateTimeField(null=True)
    decided_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    objects: ClassVar[Any] = BoxQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "quarantine boxes"
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(BoxState)), name="box_state_known"),
            models.CheckConstraint(condition=~Q(reference="") & ~Q(ground=""), name="box_has_case_and_ground"),
            models.CheckConstraint(
                condition=Q(state=BoxState.OPEN, sealed_at=None)
                | ~Q(state=BoxState.OPEN) & Q(sealed_at__isnull=False),
                name="box_sealed_when",
            ),
            models.CheckConstraint(
                condition=Q(state__in=sorted(HELD), decided_at=None, decided_by=None, decision="")
                | Q(state__in=_DECIDED, decided_at__isnull=False, decided_by__isnull=False) & ~Q(decision=""),
                name="box_decided_by_name",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class BoxedPiece(models.Model):
    """A piece that was put in a box; `inside` until the decision on the box."""

    box = models.ForeignKey(QuarantineBox, models.PROTECT, related_name="boxed")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="boxed")
    inside = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["box", "piece"], name="boxed_once"),
            models.UniqueConstraint(fields=["piece"], condition=Q(inside=True), name="piece_in_one_box"),
        ]

    def __str__(self) -> str:
        return f"{self.piece.code} in {self.box.code}"


@append_only
class BoxLine(Line):
    """The trail of a quarantine box."""

    SUBJECT = "quarantinebox"
    quarantinebox = models.ForeignKey(QuarantineBox, models.PROTECT, related_name="lines")
