"""Trays: physical containers with a mark, and what lies on them during assembly."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from instruments.models import Piece
from journal.models import Person, Place
from trays.models.templates import Template


class Tray(models.Model):
    """A container that is assembled to a template; a closed one exchanges no pieces with others."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    template = models.ForeignKey(Template, models.PROTECT, related_name="trays")
    home = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    closed = models.BooleanField(default=False)
    in_service = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ClosedMember(models.Model):
    """A piece that belongs to a closed tray for life."""

    piece = models.OneToOneField(Piece, models.PROTECT, related_name="closed_member")
    tray = models.ForeignKey(Tray, models.PROTECT, related_name="members")

    def __str__(self) -> str:
        return f"{self.piece.code} belongs to {self.tray.code}"


class Placement(models.Model):
    """A piece that lies on a tray now: one tray at most."""

    piece = models.OneToOneField(Piece, models.PROTECT, related_name="placement")
    tray = models.ForeignKey(Tray, models.PROTECT, related_name="placements")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.piece.code} on {self.tray.code}"
