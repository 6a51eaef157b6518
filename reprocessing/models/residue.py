"""Residual protein on cleaned pieces: what a check has found, and the wash that it speaks of."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from instruments.models import Piece
from journal.append_only import append_only
from journal.models import Person
from reprocessing.models.loads import Load


@append_only
class ProteinCheck(models.Model):
    """A sampled piece: a mass of protein on a side, or passed or failed by a test without figures."""

    piece = models.ForeignKey(Piece, models.PROTECT, related_name="protein_checks")
    load = models.ForeignKey(
        Load, models.PROTECT, null=True, blank=True, related_name="protein_checks", help_text="Its last wash."
    )
    method = models.CharField(max_length=80)
    ug_per_side = models.FloatField(null=True, blank=True, help_text="Protein on a side [µg].")
    limit_ug = models.FloatField(null=True, blank=True, help_text="Limit in force then [µg].")
    passed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(method=""), name="protein_check_has_method"),
            models.CheckConstraint(
                condition=Q(ug_per_side=None, limit_ug=None)
                | Q(ug_per_side__isnull=False, limit_ug__isnull=False, ug_per_side__gte=0, limit_ug__gt=0),
                name="protein_check_measured_against_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece.code}: {self.words}"

    @property
    def words(self) -> str:
        """What it found, against its limit where it was measured."""
        if self.ug_per_side is None:
            return "passed" if self.passed else "failed"
        return f"{self.ug_per_side:g} µg a side, must be at most {self.limit_ug:g} µg"
