"""What a tray must hold, in versions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from instruments.models import Part, Series
from trays.states import VersionState

_STATES = [(str(state), str(state)) for state in VersionState]


class Template(models.Model):
    """A kind of tray."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class TemplateVersion(models.Model):
    """One version of a template: draft, then published and frozen, then superseded."""

    template = models.ForeignKey(Template, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=20, choices=_STATES, default=VersionState.DRAFT)
    note = models.CharField(max_length=200, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["template", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["template", "number"], name="version_number_once"),
            models.UniqueConstraint(
                fields=["template"], condition=Q(state=VersionState.PUBLISHED), name="version_one_published"
            ),
            models.CheckConstraint(condition=Q(state__in=list(VersionState)), name="version_state_known"),
            models.CheckConstraint(
                condition=Q(state=VersionState.DRAFT) | Q(published_at__isnull=False),
                name="version_published_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.template.code} version {self.number}"


class TemplateLine(models.Model):
    """One line: so many of a part, essential or optional."""

    version = models.ForeignKey(TemplateVersion, models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)
    essential = models.BooleanField(default=True)

    class Meta:
        ordering = ["version", "position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="line_position_once"),
            models.UniqueConstraint(fields=["version", "part"], name="line_part_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="line_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.part.name}"


class Substitute(models.Model):
    """A part that may stand in for a line's own, in order of preference, with the reason."""

    line = models.ForeignKey(TemplateLine, models.CASCADE, related_name="substitutes")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    rank = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=200)

    class Meta:
        ordering = ["line", "rank"]
        constraints = [models.UniqueConstraint(fields=["line", "part"], name="substitute_once")]

    def __str__(self) -> str:
        return f"{self.part.name}: {self.reason}"


class SeriesRule(models.Model):
    """For each barrel of a series on the tray, and for each size of a range, its sheath and its seal.

    Without a range the rule looks at the barrels present only; with one, every size of it must be there.
    """

    version = models.ForeignKey(TemplateVersion, models.CASCADE, related_name="series_rules")
    series = models.ForeignKey(Series, models.PROTECT, related_name="+")
    first_order = models.PositiveSmallIntegerField(null=True, blank=True)
    last_order = models.PositiveSmallIntegerField(null=True, blank=True)
    wants_sheath = models.BooleanField(default=True)
    wants_seal = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "series"], name="series_rule_once"),
            models.CheckConstraint(
                condition=Q(first_order=None, last_order=None)
                | Q(first_order__isnull=False, last_order__isnull=False, first_order__lte=F("last_order")),
                name="series_rule_range_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"companions of {self.series.name}"
