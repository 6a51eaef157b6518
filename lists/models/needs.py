"""Procedures, what they need and operators ask for beside it, by version, and what must be sterile at which hours."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from instruments.models import Part, Series
from journal.append_only import append_only
from journal.models import Person
from lists.requirements import COUNTED, MOST, STANDARD, NeedKind, Stated
from trays.models import Template

_KINDS = [(str(kind), str(kind)) for kind in NeedKind]


def one_of(*fields: str) -> Q:
    """Exactly one of two fields is set."""
    first, second = fields
    return Q(**{f"{first}__isnull": False, f"{second}__isnull": True}) | Q(
        **{f"{first}__isnull": True, f"{second}__isnull": False}
    )


def _names(*kinds: NeedKind, only: str = "") -> Q:
    """A need of these kinds names the one thing that it is of."""
    fields = {f"{name}__isnull": name != only for name in ("template", "part", "series")}
    return Q(kind__in=[str(kind) for kind in kinds], **fields)


class Procedure(models.Model):
    """A kind of case; what it needs stands in its versions."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=100)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


@append_only
class NeedsVersion(models.Model):
    """What a procedure needs, or what an operator asks for beside it, as it was stated at once.

    Of each procedure and each operator the highest number is in force.
    """

    procedure = models.ForeignKey(Procedure, models.PROTECT, null=True, blank=True, related_name="versions")
    operator = models.CharField(max_length=20, blank=True, help_text="A pseudonymous code; empty = the standard.")
    number = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField(null=True, help_text="Empty where it was stated before versions were kept.")
    made_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["procedure__code", "operator", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["procedure", "operator", "number"],
                condition=Q(procedure__isnull=False),
                name="needs_version_once",
            ),
            models.UniqueConstraint(
                fields=["operator", "number"], condition=Q(procedure=None), name="needs_version_of_every_once"
            ),
            models.CheckConstraint(
                condition=Q(procedure__isnull=False) | ~Q(operator=""), name="needs_version_of_somebody"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.source}, version {self.number}"

    @property
    def source(self) -> str:
        """Whose needs they are, in words."""
        return f"operator {self.operator}" if self.operator else STANDARD


@append_only
class StatedNeed(models.Model):
    """So many trays of a template or packs of a part, sizes round the planned one, or the planned implant."""

    version = models.ForeignKey(NeedsVersion, models.PROTECT, related_name="needs")
    kind = models.CharField(max_length=10, choices=_KINDS)
    template = models.ForeignKey(Template, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    series = models.ForeignKey(Series, models.PROTECT, null=True, blank=True, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)
    below = models.PositiveSmallIntegerField(default=0, help_text="Sizes below the planned one.")
    above = models.PositiveSmallIntegerField(default=0, help_text="Sizes above the planned one.")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=_names(NeedKind.TEMPLATE, only="template")
                | _names(NeedKind.PART, NeedKind.BACKUP, only="part")
                | _names(NeedKind.SIZES, only="series")
                | _names(NeedKind.IMPLANT),
                name="need_names_its_thing",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=1, quantity__lte=MOST, below__lte=MOST, above__lte=MOST),
                name="need_numbers_in_range",
            ),
        ]

    def __str__(self) -> str:
        thing = self.template or self.part or self.series
        if self.kind in COUNTED:
            return f"{self.quantity} × {thing}" + (", backup" if self.kind == NeedKind.BACKUP else "")
        steps = f"{self.below} below and {self.above} above"
        return f"planned size of {thing}, {steps}" if thing else f"planned implant, {steps}"

    @property
    def stated(self) -> Stated:
        """As the rules of expansion see it."""
        thing = self.template or self.part or self.series
        code = thing.code if thing else ""
        return Stated(NeedKind(self.kind), code, self.quantity, self.below, self.above, self.version.source)


class StandingSet(models.Model):
    """Trays of a template that must be sterile, at all times or during given hours of each day."""

    template = models.OneToOneField(Template, models.PROTECT, related_name="standing_set")
    minimum = models.PositiveSmallIntegerField(default=1)
    from_time = models.TimeField(null=True, blank=True, help_text="Empty: at all times.")
    until_time = models.TimeField(null=True, blank=True)
    otherwise = models.PositiveSmallIntegerField(default=0, help_text="The minimum at other hours.")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(from_time=None, until_time=None)
                | Q(from_time__isnull=False, until_time__isnull=False, from_time__lt=F("until_time")),
                name="standing_hours_in_order",
            )
        ]

    def __str__(self) -> str:
        hours = f" from {self.from_time:%H:%M} to {self.until_time:%H:%M}" if self.from_time else ""
        return f"at least {self.minimum} × {self.template}{hours}"
