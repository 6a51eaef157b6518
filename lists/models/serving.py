"""What is to serve a requirement, and what was handed to a case."""

from __future__ import annotations

from typing import Any, ClassVar, cast

from django.db import models
from django.db.models import Q

from journal.models import Person
from lists.models.cases import Case, Requirement
from lists.models.needs import one_of
from trays.models import Pack, Tray
from trays.states import ENDED


class Allocation(models.Model):
    """Which tray, or which pack, is to serve a requirement."""

    requirement = models.OneToOneField(Requirement, models.CASCADE, related_name="allocation")
    tray = models.ForeignKey(Tray, models.PROTECT, null=True, blank=True, related_name="allocations")
    pack = models.ForeignKey(Pack, models.PROTECT, null=True, blank=True, related_name="allocations")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=one_of("tray", "pack"), name="allocation_of_tray_or_pack"),
        ]

    def __str__(self) -> str:
        return self.chosen.code

    @property
    def chosen(self) -> Tray | Pack:
        """The tray or the pack."""
        return self.pack or cast("Tray", self.tray)


class IssueQuerySet(models.QuerySet["Issue"]):
    """Issues, chainable."""

    def out(self) -> IssueQuerySet:
        """Those whose pack is not back, and has not been ended by a decision meanwhile."""
        return self.filter(ended=False, returned_at=None).exclude(pack__state__in=list(ENDED))


class Issue(models.Model):
    """A pack handed to a case; ended when it is put back unopened or the count of its return is closed."""

    case = models.ForeignKey(Case, models.PROTECT, related_name="issues")
    pack = models.ForeignKey(Pack, models.PROTECT, related_name="issues")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    opened_at = models.DateTimeField(null=True, blank=True)
    returned_at = models.DateTimeField(null=True, blank=True)
    count_closed_at = models.DateTimeField(null=True, blank=True)
    ended = models.BooleanField(default=False)

    objects: ClassVar[Any] = IssueQuerySet.as_manager()

    class Meta:
        ordering = ["issued_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["pack"], condition=Q(ended=False), name="pack_issued_to_one_case"),
            models.CheckConstraint(
                condition=Q(opened_at=None) | Q(opened_at__gte=models.F("issued_at")),
                name="issue_opened_after",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pack.code} for {self.case.code}"
