"""Theatres, lists, cases, what they need, and what was allocated and issued to them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, ClassVar, cast

from django.db import models
from django.db.models import Q

from instruments.models import Part
from journal.append_only import append_only
from journal.models import Line, Person
from lists.states import CaseState
from trays.models import Pack, Template, Tray
from trays.states import ENDED

_STATES = [(str(state), str(state)) for state in CaseState]


def _one_of(*fields: str) -> Q:
    """Exactly one of two fields is set."""
    first, second = fields
    return Q(**{f"{first}__isnull": False, f"{second}__isnull": True}) | Q(
        **{f"{first}__isnull": True, f"{second}__isnull": False}
    )


class Theatre(models.Model):
    """Where lists run."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Procedure(models.Model):
    """A kind of case and its standard needs."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=100)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class ProcedureNeed(models.Model):
    """A standard need: so many trays of a template, or packs of a part."""

    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="needs")
    template = models.ForeignKey(Template, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=_one_of("template", "part"), name="need_of_template_or_part"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="need_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.template or self.part}"


class TheatreList(models.Model):
    """A theatre's cases for a day."""

    theatre = models.ForeignKey(Theatre, models.PROTECT, related_name="lists")
    day = models.DateField()

    class Meta:
        ordering = ["day", "theatre"]
        constraints = [models.UniqueConstraint(fields=["theatre", "day"], name="list_once_per_day")]

    def __str__(self) -> str:
        return f"{self.theatre.name} {self.day:%d-%b-%Y}"


class CaseQuerySet(models.QuerySet["Case"]):
    """Cases, chainable."""

    def to_come(self) -> CaseQuerySet:
        """Planned and not begun."""
        return self.filter(state=CaseState.PLANNED)


class Case(models.Model):
    """One case of a list, with a pseudonymous patient reference."""

    code = models.CharField(max_length=4, unique=True, help_text="Random, without 0 O 1 I; never from a name.")
    reference = models.CharField(max_length=40, unique=True, help_text="The list system's own number of the case.")
    patient_ref = models.CharField(max_length=64, blank=True, help_text="Pseudonym; no name, no number.")
    list = models.ForeignKey(TheatreList, models.PROTECT, related_name="cases")
    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="cases")
    starts_at = models.DateTimeField()
    duration_min = models.PositiveSmallIntegerField()
    planned_size = models.CharField(max_length=20, blank=True)
    state = models.CharField(max_length=20, choices=_STATES, default=CaseState.PLANNED)

    objects: ClassVar[Any] = CaseQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(CaseState)), name="case_state_known"),
            models.CheckConstraint(condition=Q(duration_min__gt=0), name="case_duration_positive"),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def ends_at(self) -> datetime:
        """When it is expected to be over."""
        return self.starts_at + timedelta(minutes=self.duration_min)


class Requirement(models.Model):
    """What a case needs: a tray of a template, or a pack of a part."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="requirements")
    template = models.ForeignKey(Template, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    source = models.CharField(max_length=60, default="procedure")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=_one_of("template", "part"), name="requirement_of_template_or_part"),
        ]

    def __str__(self) -> str:
        return str(self.wanted)

    @property
    def wanted(self) -> Template | Part:
        """The template or the part."""
        return self.template or cast("Part", self.part)


class Allocation(models.Model):
    """Which tray, or which pack, is to serve a requirement."""

    requirement = models.OneToOneField(Requirement, models.CASCADE, related_name="allocation")
    tray = models.ForeignKey(Tray, models.PROTECT, null=True, blank=True, related_name="allocations")
    pack = models.ForeignKey(Pack, models.PROTECT, null=True, blank=True, related_name="allocations")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=_one_of("tray", "pack"), name="allocation_of_tray_or_pack"),
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


class StandingSet(models.Model):
    """Trays of a template that must be sterile at all times."""

    template = models.OneToOneField(Template, models.PROTECT, related_name="standing_set")
    minimum = models.PositiveSmallIntegerField(default=1)

    def __str__(self) -> str:
        return f"at least {self.minimum} × {self.template}"


@append_only
class CaseLine(Line):
    """The trail of a case."""

    SUBJECT = "case"
    case = models.ForeignKey(Case, models.PROTECT, related_name="lines")
