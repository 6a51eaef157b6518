"""The seals of the trail, and checks of it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from journal.append_only import append_only
from journal.models.people import Person
from journal.seals import SignedHead


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
