"""Procedures, what each of them needs, and what must be sterile at all times."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from instruments.models import Part
from trays.models import Template


def one_of(*fields: str) -> Q:
    """Exactly one of two fields is set."""
    first, second = fields
    return Q(**{f"{first}__isnull": False, f"{second}__isnull": True}) | Q(
        **{f"{first}__isnull": True, f"{second}__isnull": False}
    )


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
            models.CheckConstraint(condition=one_of("template", "part"), name="need_of_template_or_part"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="need_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.template or self.part}"


class StandingSet(models.Model):
    """Trays of a template that must be sterile at all times."""

    template = models.OneToOneField(Template, models.PROTECT, related_name="standing_set")
    minimum = models.PositiveSmallIntegerField(default=1)

    def __str__(self) -> str:
        return f"at least {self.minimum} × {self.template}"
