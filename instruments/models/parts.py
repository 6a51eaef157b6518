"""The catalogue: series and sizes, parts, and the programmes that are validated for them."""

from __future__ import annotations

from enum import StrEnum

from django.db import models
from django.db.models import Q


class PartKind(StrEnum):
    """What kind of thing a part is."""

    BARREL = "barrel"
    BASE = "base"
    SEAL = "seal"
    SHEATH = "sheath"
    TELESCOPE = "telescope"
    FORCEPS = "forceps"
    SUCTION = "suction"
    LOADER = "loader"
    PUSHER = "pusher"
    IMPLANT = "implant"
    ADAPTER = "adapter"
    LEAD = "lead"
    CONTAINER = "container"
    OTHER = "other"


class ProgrammeKind(StrEnum):
    """What a programme does to its load."""

    WASH = "wash"
    STEAM = "steam"
    LOW_TEMPERATURE = "low temperature"


class LumenMaterial(StrEnum):
    """What the wall of a lumen is made of, as far as the reach of an agent depends on it."""

    METAL = "metal"
    POLYMER = "polymer"


_KINDS = [(str(kind), str(kind)) for kind in PartKind]
_MATERIALS = [(str(material), str(material)) for material in LumenMaterial]
_LIMITED = [*_MATERIALS, ("any", "any")]
_STEAM_LIMITS = ("set_c", "band_k", "hold_s", "equilibration_s", "spread_k", "saturation_k")
_PROGRAMME_KINDS = [(str(kind), str(kind)) for kind in ProgrammeKind]


class Series(models.Model):
    """A graduated family of sizes."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]
        verbose_name_plural = "series"

    def __str__(self) -> str:
        return self.name


class Size(models.Model):
    """One step of a series; the band is the unit's own and never needed to tell sizes apart."""

    series = models.ForeignKey(Series, models.PROTECT, related_name="sizes")
    label = models.CharField(max_length=20)
    order = models.PositiveSmallIntegerField()
    band = models.CharField(max_length=40, blank=True, help_text="Colour, pattern and letter of the unit's own.")

    class Meta:
        ordering = ["series", "order"]
        constraints = [
            models.UniqueConstraint(fields=["series", "label"], name="size_label_once"),
            models.UniqueConstraint(fields=["series", "order"], name="size_order_once"),
        ]

    def __str__(self) -> str:
        return f"{self.series.code} {self.label}"


class Programme(models.Model):
    """A machine programme with the limits by which a cycle of it is judged."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=_PROGRAMME_KINDS)
    duration_min = models.PositiveSmallIntegerField(help_text="Planned length [min].")
    immediate = models.BooleanField(default=False, help_text="Immediate-use: unwrapped, no storage.")
    a0_s = models.PositiveIntegerField(null=True, blank=True, help_text="Least A0 [s].")
    set_c = models.FloatField(null=True, blank=True, help_text="Set temperature [°C].")
    band_k = models.FloatField(null=True, blank=True, help_text="Width of the band above it [K].")
    hold_s = models.PositiveIntegerField(null=True, blank=True, help_text="Least hold [s].")
    equilibration_s = models.PositiveIntegerField(null=True, blank=True, help_text="At most [s].")
    spread_k = models.FloatField(null=True, blank=True, help_text="Between probes, at most [K].")
    saturation_k = models.FloatField(null=True, blank=True, help_text="From saturation, at most [K].")
    pulses = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Air removal pulses, at least.")
    pulse_mbar = models.FloatField(null=True, blank=True, help_text="Depth of each [mbar absolute].")
    drying_s = models.PositiveIntegerField(null=True, blank=True, help_text="Drying vacuum, at least [s].")
    drying_mbar = models.FloatField(null=True, blank=True, help_text="Its depth [mbar absolute].")
    most_load_g = models.PositiveIntegerField(null=True, blank=True, help_text="Mass of a load, at most [g].")
    dry_only = models.BooleanField(default=False, help_text="Everything is dry, inside too: confirmed at the start.")
    no_cellulose = models.BooleanField(default=False, help_text="No wrap with cellulose: confirmed at the start.")
    source = models.CharField(max_length=200, help_text="Where the limits come from.")
    confirm_locally = models.BooleanField(default=True)

    class Meta:
        ordering = ["kind", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(ProgrammeKind)), name="programme_kind_known"),
            models.CheckConstraint(
                condition=~Q(kind="wash") | Q(a0_s__isnull=False, a0_s__gt=0), name="programme_wash_has_a0"
            ),
            models.CheckConstraint(
                condition=~Q(kind="steam")
                | Q(
                    # A comparison with nothing is neither true nor false, and a CHECK lets it pass.
                    **{f"{name}__isnull": False for name in _STEAM_LIMITS},
                    set_c__gte=100,
                    set_c__lte=150,
                    band_k__gt=0,
                    hold_s__gt=0,
                    equilibration_s__gt=0,
                    spread_k__gt=0,
                    saturation_k__gt=0,
                ),
                name="programme_steam_has_limits",
            ),
            models.CheckConstraint(
                condition=Q(pulses=None, pulse_mbar=None)
                | Q(kind="steam", pulses__isnull=False, pulse_mbar__isnull=False, pulses__gt=0, pulse_mbar__gt=0),
                name="programme_pulses_have_depth",
            ),
            models.CheckConstraint(
                condition=Q(drying_s=None, drying_mbar=None)
                | Q(
                    kind="steam", drying_s__isnull=False, drying_mbar__isnull=False, drying_s__gt=0, drying_mbar__gt=0
                ),
                name="programme_drying_has_depth",
            ),
            models.CheckConstraint(
                condition=Q(most_load_g=None, dry_only=False, no_cellulose=False) | Q(kind="low temperature"),
                name="programme_load_limits_low_temperature",
            ),
            models.CheckConstraint(
                condition=Q(most_load_g=None) | Q(most_load_g__gt=0), name="programme_most_load_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LumenLimit(models.Model):
    """Lumens that a low-temperature programme reaches; whatever lies in none of its limits it does not."""

    programme = models.ForeignKey(Programme, models.PROTECT, related_name="lumen_limits")
    material = models.CharField(max_length=20, choices=_LIMITED)
    least_inner_mm = models.FloatField(help_text="Inner diameter, at least [mm].")
    most_length_mm = models.FloatField(help_text="Length, at most [mm].")
    most_count = models.PositiveSmallIntegerField(null=True, blank=True, help_text="In a load, at most.")
    source = models.CharField(max_length=200, help_text="Where the limit comes from.")

    class Meta:
        ordering = ["programme", "material", "least_inner_mm", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(material__in=[*LumenMaterial, "any"]), name="lumen_limit_material"),
            models.CheckConstraint(
                condition=Q(least_inner_mm__gt=0, most_length_mm__gt=0) & (Q(most_count=None) | Q(most_count__gt=0)),
                name="lumen_limit_positive",
            ),
            models.CheckConstraint(condition=~Q(source=""), name="lumen_limit_has_source"),
            models.UniqueConstraint(
                fields=["programme", "material", "least_inner_mm", "most_length_mm"], name="lumen_limit_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material} {self.least_inner_mm:g} mm, {self.most_length_mm:g} mm"


class PartQuerySet(models.QuerySet["Part"]):
    """Parts, chainable."""

    def with_dimensions(self) -> PartQuerySet:
        """Every typed dimension in the same query."""
        return self.select_related(
            "size__series",
            "barrel",
            "base",
            "seal",
            "sheath",
            "telescope",
            "forceps",
            "suction",
            "loader",
            "pusher",
            "implant",
            "adapter",
        )


class Part(models.Model):
    """A catalogue entry: a kind of thing, of which the unit owns pieces."""

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=_KINDS)
    size = models.ForeignKey(Size, models.PROTECT, null=True, blank=True, related_name="parts")
    mass_g = models.DecimalField(max_digits=7, decimal_places=1, null=True, blank=True)
    single_use = models.BooleanField(default=False)
    reprocess_unused = models.CharField(
        max_length=200, blank=True, help_text="The maker's permission to reprocess it unused, cited."
    )
    life_limit = models.PositiveIntegerField(null=True, blank=True, help_text="Cycles in all.")
    service_days = models.PositiveIntegerField(null=True, blank=True, help_text="Days between services.")
    function_test = models.BooleanField(default=False, help_text="Tested at each inspection.")
    insulated = models.BooleanField(default=False, help_text="Insulation is tested at each inspection.")
    take_apart = models.CharField(max_length=200, blank=True, help_text="What must be taken apart first.")
    programmes: models.ManyToManyField[Programme, Validation] = models.ManyToManyField(
        Programme, through="Validation", related_name="parts"
    )

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(PartKind)), name="part_kind_known"),
            models.CheckConstraint(condition=Q(mass_g=None) | Q(mass_g__gt=0), name="part_mass_positive"),
            models.CheckConstraint(condition=~Q(kind="implant") | Q(single_use=True), name="part_implant_single"),
            models.CheckConstraint(
                condition=Q(single_use=False) | Q(life_limit=None), name="part_single_use_has_no_life_limit"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class PartLumen(models.Model):
    """A lumen of a part, as low-temperature programmes limit it; the maker's figures."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="lumens")
    inner_mm = models.FloatField(help_text="Inner diameter [mm].")
    length_mm = models.FloatField(help_text="Length [mm].")
    count = models.PositiveSmallIntegerField(default=1)
    material = models.CharField(max_length=20, choices=_MATERIALS)

    class Meta:
        ordering = ["part", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(material__in=list(LumenMaterial)), name="part_lumen_material_known"),
            models.CheckConstraint(
                condition=Q(inner_mm__gt=0, length_mm__gt=0, count__gt=0), name="part_lumen_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} of {self.material}, {self.inner_mm:g} mm, {self.length_mm:g} mm"


class Validation(models.Model):
    """A programme that the maker's instructions, or the unit's own validation, allow for a part."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="validations")
    programme = models.ForeignKey(Programme, models.PROTECT, related_name="validations")
    source = models.CharField(max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["part", "programme"], name="validation_once")]

    def __str__(self) -> str:
        return f"{self.part.code}: {self.programme.code}"
