"""Recalls: the loads that are called back, and a work list of everything that went through them."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from instruments.models import Piece
from journal.append_only import append_only
from journal.models import Line, Person, Place
from reprocessing.models.loads import Load
from reprocessing.models.machines import Machine
from reprocessing.recall_states import Outcome, RecallState
from trays.models import Pack

_STATES = [(str(state), str(state)) for state in RecallState]
_OUTCOMES = [(str(outcome), str(outcome)) for outcome in Outcome]
_SIGNED = [RecallState.TO_CLOSE, RecallState.CLOSED]


class RecallQuerySet(models.QuerySet["Recall"]):
    """Recalls, chainable."""

    def under_way(self) -> RecallQuerySet:
        """Neither closed nor dropped."""
        return self.exclude(state__in=[RecallState.CLOSED, RecallState.DROPPED])


class Recall(models.Model):
    """A decision to call loads back: drafted, issued, worked off, closed by two persons."""

    code = models.CharField(max_length=20, unique=True)
    state = models.CharField(max_length=20, choices=_STATES, default=RecallState.DRAFT)
    machine = models.ForeignKey(
        Machine, models.PROTECT, null=True, related_name="recalls", help_text="Whose indicators ask for it."
    )
    ground = models.CharField(max_length=400, help_text="What it is drafted for.")
    rule = models.CharField(max_length=400, blank=True, help_text="Policy behind its scope, with its source.")
    reason = models.CharField(max_length=400, blank=True)
    drafted_at = models.DateTimeField()
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    proposed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    objects: ClassVar[Any] = RecallQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(RecallState)), name="recall_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=[RecallState.DRAFT, RecallState.DROPPED])
                | Q(issued_at__isnull=False, issued_by__isnull=False) & ~Q(reason=""),
                name="recall_issued_with_reason",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=_SIGNED) | Q(proposed_by__isnull=False), name="recall_closure_proposed"
            ),
            models.CheckConstraint(
                condition=~Q(state=RecallState.CLOSED)
                | Q(closed_at__isnull=False, closed_by__isnull=False) & ~Q(closed_by=F("proposed_by")),
                name="recall_closed_by_two",
            ),
            models.UniqueConstraint(
                fields=["machine"], condition=Q(state=RecallState.DRAFT), name="recall_one_draft_per_machine"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class RecallLoad(models.Model):
    """A load that a recall calls back, and why."""

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="recall_loads")
    load = models.ForeignKey(Load, models.PROTECT, related_name="recall_loads")
    why = models.CharField(max_length=300)

    class Meta:
        ordering = ["load_id"]
        constraints = [models.UniqueConstraint(fields=["recall", "load"], name="recall_load_once")]

    def __str__(self) -> str:
        return f"{self.load.code} in {self.recall.code}"


class RecallItem(models.Model):
    """A pack or a piece that an issued recall calls back: where it was, and what became of it."""

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="items")
    pack = models.ForeignKey(Pack, models.PROTECT, null=True, related_name="recall_items")
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="recall_items")
    load = models.ForeignKey(Load, models.PROTECT, related_name="+", help_text="The load that it is called back for.")
    place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="+", help_text="Where it was then.")
    state_then = models.CharField(max_length=20)
    outcome = models.CharField(max_length=20, choices=_OUTCOMES, default=Outcome.OPEN)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(outcome__in=list(Outcome)), name="recall_item_outcome_known"),
            models.CheckConstraint(
                condition=Q(pack=None, piece__isnull=False) | Q(pack__isnull=False, piece=None),
                name="recall_item_pack_or_piece",
            ),
            models.CheckConstraint(
                condition=Q(outcome=Outcome.OPEN, settled_at=None)
                | ~Q(outcome=Outcome.OPEN) & Q(settled_at__isnull=False),
                name="recall_item_settled_when",
            ),
            models.CheckConstraint(
                condition=~Q(outcome=Outcome.NOT_FOUND) | ~Q(note=""), name="recall_item_not_found_with_note"
            ),
            models.UniqueConstraint(fields=["recall", "pack"], name="recall_pack_once"),
            models.UniqueConstraint(fields=["recall", "piece"], name="recall_piece_once"),
        ]

    def __str__(self) -> str:
        return f"{self.thing.code}: {self.outcome}"

    @property
    def thing(self) -> Any:
        """The pack or the piece."""
        return self.pack or self.piece

    @property
    def name(self) -> str:
        """What a person calls it."""
        return self.pack.name if self.pack else str(self.thing.part.name)


@append_only
class RecallLine(Line):
    """The trail of a recall."""

    SUBJECT = "recall"
    recall = models.ForeignKey(Recall, models.PROTECT, related_name="lines")
