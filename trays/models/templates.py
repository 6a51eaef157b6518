"""What a tray must hold, in versions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from instruments.models import Part, Series
from journal.append_only import frozen
from journal.models import Person
from trays.states import VersionState

_STATES = [(str(state), str(state)) for state in VersionState]
_OF_A_FROZEN_VERSION = (
    "EXISTS (SELECT 1 FROM trays_templateversion v WHERE v.id = {row}.version_id AND v.state <> 'draft')"
)
_OF_A_FROZEN_LINE = (
    "EXISTS (SELECT 1 FROM trays_templateline l JOIN trays_templateversion v ON v.id = l.version_id"
    " WHERE l.id = {row}.line_id AND v.state <> 'draft')"
)
_ANYTHING_BUT_SUPERSEDING = """OLD.state <> 'draft' AND NOT (
    OLD.state = 'published' AND NEW.state = 'superseded' AND NEW.id = OLD.id AND NEW.number = OLD.number
    AND NEW.template_id = OLD.template_id AND NEW.note = OLD.note AND NEW.proof = OLD.proof
    AND NEW.published_at = OLD.published_at
    AND COALESCE(NEW.published_by_id, 0) = COALESCE(OLD.published_by_id, 0))"""


class Template(models.Model):
    """A kind of tray."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


@frozen("{row}.state <> 'draft'", update=_ANYTHING_BUT_SUPERSEDING)
class TemplateVersion(models.Model):
    """One version of a template: draft, then published and frozen, then superseded."""

    template = models.ForeignKey(Template, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=20, choices=_STATES, default=VersionState.DRAFT)
    note = models.CharField(max_length=200, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    proof = models.JSONField(default=list, blank=True, help_text="What its proof found when it was published.")

    class Meta:
        ordering = ["template", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["template", "number"], name="version_number_once"),
            models.UniqueConstraint(
                fields=["template"], condition=Q(state=VersionState.PUBLISHED), name="version_one_published"
            ),
            models.UniqueConstraint(
                fields=["template"], condition=Q(state=VersionState.DRAFT), name="version_one_draft"
            ),
            models.CheckConstraint(condition=Q(state__in=list(VersionState)), name="version_state_known"),
            models.CheckConstraint(
                condition=Q(state=VersionState.DRAFT) | Q(published_at__isnull=False),
                name="version_published_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.template.code} version {self.number}"


@frozen(_OF_A_FROZEN_VERSION)
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


@frozen(_OF_A_FROZEN_LINE)
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


@frozen(_OF_A_FROZEN_VERSION)
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
            models.CheckConstraint(
                condition=Q(wants_sheath=True) | Q(wants_seal=True), name="series_rule_wants_something"
            ),
        ]

    def __str__(self) -> str:
        return f"companions of {self.series.name}"
