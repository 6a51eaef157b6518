"""Go / no go sheets as they were printed."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from journal.append_only import append_only
from journal.models import Person


@append_only
class GoSheet(models.Model):
    """The judgement on a day's cases as it was printed: by the job at a cut-off, or by a person at any time."""

    day = models.DateField(db_index=True)
    cutoff_on = models.DateField(unique=True, null=True, help_text="The day of the cut-off that printed it.")
    drawn_at = models.DateTimeField()
    drawn_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    words = models.CharField(max_length=200, help_text="The day in one line, as it says it.")
    sha256 = models.CharField(max_length=64)
    document = models.BinaryField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cutoff_on=None, drawn_by__isnull=False) | Q(cutoff_on__isnull=False, drawn_by=None),
                name="go_sheet_at_cutoff_or_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"go / no go sheet {self.day:%d-%b-%Y}, {self.sha256[:8]}"
