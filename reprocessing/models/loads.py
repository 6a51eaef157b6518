"""Loads: what goes together through one machine cycle."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from instruments.models import Piece, Programme
from journal.append_only import append_only
from journal.models import Line
from reprocessing.models.machines import Machine
from reprocessing.states import Condition, LoadKind, LoadState
from trays.models import Pack

_STATES = [(str(state), str(state)) for state in LoadState]
_CONDITIONS = [(str(condition), str(condition)) for condition in Condition]
_KINDS = [(str(kind), str(kind)) for kind in LoadKind]


class LoadQuerySet(models.QuerySet["Load"]):
    """Loads, chainable."""

    def undecided(self) -> LoadQuerySet:
        """Ended and waiting for a person's decision."""
        return self.filter(state=LoadState.AWAITING_RELEASE)

    def decided(self) -> LoadQuerySet:
        """Released, rejected or recalled."""
        return self.filter(state__in=[LoadState.RELEASED, LoadState.REJECTED, LoadState.RECALLED])

    def latest_first(self) -> LoadQuerySet:
        """In order of their decision."""
        return self.order_by("-decision__at", "-pk")

    def counted(self) -> LoadQuerySet:
        """Each with how many packs and pieces went into it, as `pack_count` and `piece_count`; for a few loads."""
        return self.annotate(
            pack_count=models.Count("load_packs", distinct=True),
            piece_count=models.Count("load_pieces", distinct=True),
        )

    def empty(self) -> LoadQuerySet:
        """Open, and nothing is in it."""
        return self.filter(state=LoadState.BUILDING, load_packs=None, load_pieces=None)


class Load(models.Model):
    """One machine cycle and what went through it."""

    code = models.CharField(max_length=20, unique=True)
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="loads")
    programme = models.ForeignKey(Programme, models.PROTECT, related_name="loads")
    kind = models.CharField(max_length=20, choices=_KINDS, default=LoadKind.ROUTINE)
    state = models.CharField(max_length=20, choices=_STATES, default=LoadState.BUILDING)
    cycle_number = models.CharField(max_length=20, blank=True, help_text="As the machine counts it.")
    caps_open = models.BooleanField(default=False, help_text="Caps off, ports and taps open: confirmed.")
    dosing_recorded = models.BooleanField(null=True, blank=True, help_text="Washer's phase and dosing record.")
    built_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[Any] = LoadQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(LoadState)), name="load_state_known"),
            models.CheckConstraint(condition=Q(kind__in=list(LoadKind)), name="load_kind_known"),
            models.CheckConstraint(
                condition=Q(state=LoadState.BUILDING) | Q(started_at__isnull=False), name="load_started_when"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(started_at__isnull=False, ended_at__gte=F("started_at")),
                name="load_ends_after_start",
            ),
            models.CheckConstraint(
                condition=Q(state__in=[LoadState.BUILDING, LoadState.RUNNING]) | Q(ended_at__isnull=False),
                name="load_ended_when",
            ),
            models.UniqueConstraint(
                fields=["machine"], condition=Q(state=LoadState.RUNNING), name="load_one_running_per_machine"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LoadPack(models.Model):
    """A pack in a load; open until the load is decided, or the pack taken off."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="load_packs")
    pack = models.ForeignKey(Pack, models.PROTECT, related_name="load_packs")
    open = models.BooleanField(default=True)
    barrier_intact = models.BooleanField(null=True, blank=True, help_text="Dry and whole on unloading.")
    condition = models.CharField(max_length=20, choices=_CONDITIONS, blank=True, help_text="As found on unloading.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["load", "pack"], name="load_pack_once"),
            models.CheckConstraint(
                condition=Q(condition="")
                | Q(condition=Condition.INTACT, barrier_intact__isnull=False, barrier_intact=True)
                | Q(
                    condition__in=[Condition.WET, Condition.TORN, Condition.DROPPED],
                    barrier_intact__isnull=False,
                    barrier_intact=False,
                ),
                name="load_pack_condition_agrees",
            ),
            models.UniqueConstraint(fields=["pack"], condition=Q(open=True), name="pack_in_one_open_load"),
        ]

    def __str__(self) -> str:
        return f"{self.pack.code} in {self.load.code}"

    @property
    def fault(self) -> str:
        """What was wrong with it on unloading; empty when nothing was, or it was not looked at."""
        return "" if self.barrier_intact is not False else self.condition or "wet or torn"


class LoadPiece(models.Model):
    """A piece in a washer load; open until the load is decided, or the piece taken out."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="load_pieces")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="load_pieces")
    came_with = models.ForeignKey(
        Pack, models.PROTECT, null=True, related_name="+", help_text="The ended pack of its set; empty: loose."
    )
    open = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["load", "piece"], name="load_piece_once"),
            models.UniqueConstraint(fields=["piece"], condition=Q(open=True), name="piece_in_one_open_load"),
        ]

    def __str__(self) -> str:
        return f"{self.piece.code} in {self.load.code}"


@append_only
class LoadLine(Line):
    """The trail of a load."""

    SUBJECT = "load"
    load = models.ForeignKey(Load, models.PROTECT, related_name="lines")
