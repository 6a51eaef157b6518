"""Packs: one assembled, wrapped, labelled instance of a tray or of a piece, with frozen contents."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from instruments.models import Piece
from journal.append_only import append_only
from journal.models import Line, Person, Place
from trays.models.templates import TemplateVersion
from trays.models.trays import Tray
from trays.states import ENDED, PackKind, PackState

_STATES = [(str(state), str(state)) for state in PackState]
_KINDS = [(str(kind), str(kind)) for kind in PackKind]
_STERILE = [PackState.STERILE, PackState.ISSUED]


class PackQuerySet(models.QuerySet["Pack"]):
    """Packs, chainable."""

    def live(self) -> PackQuerySet:
        """Those that still carry their pieces."""
        return self.exclude(state__in=list(ENDED))


class Pack(models.Model):
    """Born at assembly, processed, stored, issued, opened, ended at return."""

    code = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=20, choices=_KINDS, default=PackKind.TRAY)
    name = models.CharField(max_length=120, help_text="As the label says it; frozen.")
    tray = models.ForeignKey(Tray, models.PROTECT, null=True, blank=True, related_name="packs")
    version = models.ForeignKey(TemplateVersion, models.PROTECT, null=True, blank=True, related_name="packs")
    state = models.CharField(max_length=20, choices=_STATES, default=PackState.ASSEMBLED)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    assembled_at = models.DateTimeField()
    assembled_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    use_by = models.DateTimeField(help_text="End of its shelf life.")
    barrier_intact = models.BooleanField(null=True, blank=True, help_text="Looked at; empty: not yet.")
    holds_implant = models.BooleanField(default=False)
    incomplete_reason = models.CharField(max_length=300, blank=True)
    incomplete_second = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    objects: ClassVar[Any] = PackQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(PackState)), name="pack_state_known"),
            models.CheckConstraint(condition=Q(kind__in=list(PackKind)), name="pack_kind_known"),
            models.CheckConstraint(
                condition=~Q(state__in=_STERILE)
                | Q(kind=PackKind.IMMEDIATE)
                | Q(barrier_intact__isnull=False, barrier_intact=True),
                name="pack_sterile_only_with_intact_barrier",
            ),
            models.CheckConstraint(
                condition=~Q(kind=PackKind.TRAY) | Q(tray__isnull=False, version__isnull=False),
                name="pack_of_tray_names_tray_and_version",
            ),
            models.CheckConstraint(
                condition=Q(incomplete_reason="") | Q(incomplete_second__isnull=False),
                name="pack_incomplete_needs_second_person",
            ),
            models.UniqueConstraint(
                fields=["tray"], condition=~Q(state__in=sorted(ENDED)), name="pack_one_live_per_tray"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def incomplete(self) -> bool:
        """Whether it went out incomplete, by a signed reason."""
        return bool(self.incomplete_reason)


@append_only
class Content(models.Model):
    """A piece in a pack as it was at assembly; never changes."""

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="contents")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="contents")
    position = models.PositiveSmallIntegerField(help_text="Line of the template; 0 = beside it.")
    part_code = models.CharField(max_length=30)
    part_name = models.CharField(max_length=120)

    class Meta:
        ordering = ["pack", "position", "id"]
        constraints = [models.UniqueConstraint(fields=["pack", "piece"], name="content_once")]

    def __str__(self) -> str:
        return f"{self.piece.code} in {self.pack.code}"


@append_only
class Lack(models.Model):
    """What an incomplete pack lacks, as its label lists it."""

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="lacks")
    part_code = models.CharField(max_length=30)
    part_name = models.CharField(max_length=120)
    quantity = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(quantity__gt=0), name="lack_quantity_positive")]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.part_name}"


class Carried(models.Model):
    """A piece that is in a live pack now: one pack at most. Removed when the pack gives it up."""

    piece = models.OneToOneField(Piece, models.PROTECT, related_name="carried")
    pack = models.ForeignKey(Pack, models.PROTECT, related_name="carried")

    def __str__(self) -> str:
        return f"{self.piece.code} in {self.pack.code}"


@append_only
class PackLine(Line):
    """The trail of a pack."""

    SUBJECT = "pack"
    pack = models.ForeignKey(Pack, models.PROTECT, related_name="lines")


@append_only
class Printed(models.Model):
    """A document as it was printed for a pack; its line in the trail names it by its SHA-256."""

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="printed")
    sha256 = models.CharField(max_length=64)
    document = models.BinaryField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["pack", "sha256"], name="printed_once")]

    def __str__(self) -> str:
        return f"{self.sha256[:8]} for {self.pack.code}"
