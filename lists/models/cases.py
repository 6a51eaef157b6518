"""Theatres, their lists, cases, what each case needs, and its trail."""

from __future__ import annotations

import builtins
from datetime import datetime, timedelta
from typing import Any, ClassVar, cast

from django.db import models
from django.db.models import Q

from instruments.models import Part, Size
from journal.append_only import append_only
from journal.models import Line
from lists.models.needs import NeedsVersion, Procedure, one_of
from lists.states import CaseState
from trays.models import Template

_STATES = [(str(state), str(state)) for state in CaseState]


class Theatre(models.Model):
    """Where lists run."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


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
    planned_implant = models.CharField(
        max_length=20, blank=True, help_text="Diameter × length [mm], or a part's code."
    )
    operator = models.CharField(max_length=20, blank=True, help_text="A pseudonymous code; never a name.")
    expanded_by = models.ManyToManyField(NeedsVersion, blank=True, related_name="cases")
    doubts = models.JSONField(default=builtins.list, blank=True, help_text="What could not be told of its needs.")
    state = models.CharField(max_length=20, choices=_STATES, default=CaseState.PLANNED)
    emergency = models.BooleanField(default=False, help_text="Made on the fly, with the set handed to it.")

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
    source = models.CharField(max_length=100, default="procedure")
    essential = models.BooleanField(default=True, help_text="The case is short without it.")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=one_of("template", "part"), name="requirement_of_template_or_part"),
        ]

    def __str__(self) -> str:
        return str(self.wanted)

    @property
    def wanted(self) -> Template | Part:
        """The template or the part."""
        return self.template or cast("Part", self.part)


class SizeWanted(models.Model):
    """A size whose barrel, with all that goes with it, must lie in what serves a case."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="sizes_wanted")
    size = models.ForeignKey(Size, models.PROTECT, related_name="+")
    source = models.CharField(max_length=100)

    class Meta:
        ordering = ["size__series", "size__order"]
        constraints = [models.UniqueConstraint(fields=["case", "size"], name="size_wanted_once")]

    def __str__(self) -> str:
        return str(self.size)


@append_only
class CaseLine(Line):
    """The trail of a case."""

    SUBJECT = "case"
    case = models.ForeignKey(Case, models.PROTECT, related_name="lines")
