"""Typed dimensions, one table per kind of part. All lengths in millimetres; NULL means not measured."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q

from instruments.models.parts import Part


def _mm(help_text: str = "") -> Any:
    """A length [mm]; None = not measured."""
    return models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True, help_text=help_text)


def _tolerance() -> Any:
    """A symmetric tolerance [mm]."""
    return models.DecimalField(max_digits=5, decimal_places=3, default=0)


def _positive(table: str, *names: str) -> list[models.BaseConstraint]:
    return [
        models.CheckConstraint(condition=Q(**{name: None}) | Q(**{f"{name}__gt": 0}), name=f"{table}_{name}_positive")
        for name in names
    ]


def _tolerances(table: str, *names: str) -> list[models.BaseConstraint]:
    """A tolerance is never negative and never as large as its dimension."""
    return [
        models.CheckConstraint(
            condition=Q(**{f"{name}_tol__gte": 0})
            & (Q(**{f"{name}_mm": None}) | Q(**{f"{name}_tol__lt": F(f"{name}_mm")})),
            name=f"{table}_{name}_tol_sane",
        )
        for name in names
    ]


def _inner_under_outer(table: str) -> models.BaseConstraint:
    return models.CheckConstraint(
        condition=Q(inner_mm=None) | Q(outer_mm=None) | Q(inner_mm__lt=F("outer_mm")),
        name=f"{table}_has_a_wall",
    )


class Barrel(models.Model):
    """A rigid tube: tracheal (short, no side ports) or bronchial (long, with distal side ports)."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="barrel", primary_key=True)
    inner_mm, inner_tol = _mm(), _tolerance()
    outer_mm, outer_tol = _mm(), _tolerance()
    length_mm = _mm()
    side_ports = models.BooleanField(default=False)
    coupling = models.CharField(max_length=40, blank=True)

    class Meta:
        constraints = [
            *_positive("barrel", "inner_mm", "outer_mm", "length_mm"),
            *_tolerances("barrel", "inner", "outer"),
            _inner_under_outer("barrel"),
        ]

    def __str__(self) -> str:
        return f"barrel {self.part_id}"


class Base(models.Model):
    """What a barrel couples to; it has ports."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="base", primary_key=True)
    coupling = models.CharField(max_length=40)
    stack_mm = _mm("Length that the base adds on the axis.")

    class Meta:
        constraints = _positive("base", "stack_mm")

    def __str__(self) -> str:
        return f"base {self.part_id}"


class BasePort(models.Model):
    """One port of a base and the fitting that its seal must have."""

    base = models.ForeignKey(Base, models.CASCADE, related_name="ports")
    name = models.CharField(max_length=40)
    fitting = models.CharField(max_length=40)
    bore_mm, bore_tol = _mm(), _tolerance()
    on_axis = models.BooleanField(default=False)
    way_mm = _mm("Length from its face to the barrel's coupling; of the port on the axis, what the base adds.")

    class Meta:
        constraints = [
            *_positive("port", "bore_mm", "way_mm"),
            *_tolerances("port", "bore"),
            models.UniqueConstraint(fields=["base", "name"], name="port_name_once"),
            models.UniqueConstraint(fields=["base"], condition=Q(on_axis=True), name="port_one_axis"),
        ]

    def __str__(self) -> str:
        return self.name


class Seal(models.Model):
    """The silicone cap or gasket that closes a port."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="seal", primary_key=True)
    fitting = models.CharField(max_length=40)
    openings = models.PositiveSmallIntegerField(default=1)
    opening_mm, opening_tol = _mm(), _tolerance()
    thickness_mm = _mm()

    class Meta:
        constraints = [*_positive("seal", "opening_mm", "thickness_mm"), *_tolerances("seal", "opening")]

    def __str__(self) -> str:
        return f"seal {self.part_id}"


class Sheath(models.Model):
    """The tube that goes through or over a barrel of the matching size."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="sheath", primary_key=True)
    inner_mm, inner_tol = _mm(), _tolerance()
    outer_mm, outer_tol = _mm(), _tolerance()
    length_mm = _mm()

    class Meta:
        constraints = [
            *_positive("sheath", "inner_mm", "outer_mm", "length_mm"),
            *_tolerances("sheath", "inner", "outer"),
            _inner_under_outer("sheath"),
        ]

    def __str__(self) -> str:
        return f"sheath {self.part_id}"


class Telescope(models.Model):
    """A rigid telescope."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="telescope", primary_key=True)
    shaft_mm, shaft_tol = _mm(), _tolerance()
    length_mm = _mm("Working length.")
    view_deg = models.PositiveSmallIntegerField(default=0, help_text="Direction of view [°].")
    lock = models.CharField(max_length=40, blank=True)

    class Meta:
        constraints = [
            *_positive("telescope", "shaft_mm", "length_mm"),
            *_tolerances("telescope", "shaft"),
            models.CheckConstraint(condition=Q(view_deg__lte=120), name="telescope_view_possible"),
        ]

    def __str__(self) -> str:
        return f"telescope {self.part_id}"


class Forceps(models.Model):
    """Forceps; an optical one carries a telescope and matches it by diameter, length, view and lock."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="forceps", primary_key=True)
    shaft_mm, shaft_tol = _mm("Greatest insertion width, jaws closed."), _tolerance()
    length_mm = _mm("Working length.")
    optical = models.BooleanField(default=False)
    telescope_mm = _mm("Diameter of the telescope it takes.")
    telescope_length_mm = _mm("Length of the telescope it takes.")
    view_deg = models.PositiveSmallIntegerField(null=True, blank=True)
    lock = models.CharField(max_length=40, blank=True)

    class Meta:
        verbose_name_plural = "forceps"
        constraints = [
            *_positive("forceps", "shaft_mm", "length_mm", "telescope_mm", "telescope_length_mm"),
            *_tolerances("forceps", "shaft"),
            models.CheckConstraint(
                condition=Q(telescope_mm=None) | Q(shaft_mm=None) | Q(telescope_mm__lt=F("shaft_mm")),
                name="forceps_wider_than_telescope",
            ),
        ]

    def __str__(self) -> str:
        return f"forceps {self.part_id}"


class Suction(models.Model):
    """A suction tube or catheter."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="suction", primary_key=True)
    shaft_mm, shaft_tol = _mm(), _tolerance()
    inner_mm = _mm()
    length_mm = _mm()

    class Meta:
        constraints = [
            *_positive("suction", "shaft_mm", "inner_mm", "length_mm"),
            *_tolerances("suction", "shaft"),
            models.CheckConstraint(
                condition=Q(inner_mm=None) | Q(shaft_mm=None) | Q(inner_mm__lt=F("shaft_mm")),
                name="suction_has_a_wall",
            ),
        ]

    def __str__(self) -> str:
        return f"suction {self.part_id}"


class Loader(models.Model):
    """Folds an implant and hands it to a sheath of its size."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="loader", primary_key=True)
    inner_mm, inner_tol = _mm(), _tolerance()
    outer_mm, outer_tol = _mm(), _tolerance()

    class Meta:
        constraints = [
            *_positive("loader", "inner_mm", "outer_mm"),
            *_tolerances("loader", "inner", "outer"),
            _inner_under_outer("loader"),
        ]

    def __str__(self) -> str:
        return f"loader {self.part_id}"


class Pusher(models.Model):
    """Pushes an implant out of its sheath."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="pusher", primary_key=True)
    shaft_mm, shaft_tol = _mm(), _tolerance()
    length_mm = _mm()
    past_tip_mm = _mm("Must reach this far past the sheath's tip.")

    class Meta:
        constraints = [*_positive("pusher", "shaft_mm", "length_mm"), *_tolerances("pusher", "shaft")]

    def __str__(self) -> str:
        return f"pusher {self.part_id}"


class Implant(models.Model):
    """A stent or other implant: its free size, and its size when compressed."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="implant", primary_key=True)
    diameter_mm = _mm()
    length_mm = _mm()
    compressed_mm, compressed_tol = _mm(), _tolerance()

    class Meta:
        constraints = [
            *_positive("implant", "diameter_mm", "length_mm", "compressed_mm"),
            *_tolerances("implant", "compressed"),
            models.CheckConstraint(
                condition=Q(compressed_mm=None) | Q(diameter_mm=None) | Q(compressed_mm__lte=F("diameter_mm")),
                name="implant_compresses",
            ),
        ]

    def __str__(self) -> str:
        return f"implant {self.part_id}"


class Adapter(models.Model):
    """Bridges two couplings."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="adapter", primary_key=True)
    coupling_a = models.CharField(max_length=40)
    coupling_b = models.CharField(max_length=40)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(coupling_a=F("coupling_b")), name="adapter_bridges_two"),
        ]

    def __str__(self) -> str:
        return f"adapter {self.part_id}"
