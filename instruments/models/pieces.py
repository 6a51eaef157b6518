"""Pieces: physical instruments with their marks, tests and trail."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar, Protocol

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from instruments.life import Wear
from instruments.models.loans import Loan
from instruments.models.parts import Part
from instruments.states import CLEAN, PieceState
from journal.append_only import append_only
from journal.models import Line, Place

_STATES = [(str(state), str(state)) for state in PieceState]

ELSEWHERE = (PieceState.PACKED, PieceState.IN_USE, PieceState.IN_REPAIR, PieceState.ON_LOAN, PieceState.MISSING)
"""States in which the place that was last recorded says nothing."""


class PieceQuerySet(models.QuerySet["Piece"]):
    """Pieces, chainable."""

    def of_unit(self) -> PieceQuerySet:
        """Those that are still the unit's: not withdrawn."""
        return self.exclude(state=PieceState.WITHDRAWN)


class Piece(models.Model):
    """One physical, marked instrument of a part."""

    code = models.CharField(max_length=20, unique=True, help_text="The unit's own code.")
    part = models.ForeignKey(Part, models.PROTECT, related_name="pieces")
    state = models.CharField(max_length=20, choices=_STATES, default=PieceState.RETURNED)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    serial = models.CharField(max_length=40, blank=True)
    lot = models.CharField(max_length=40, blank=True)
    expires = models.DateField(null=True, blank=True, help_text="The maker's last day of use.")
    maker_sterile = models.BooleanField(default=False, help_text="Arrived sterile from the maker.")
    cycles = models.PositiveIntegerField(default=0)
    service_due = models.DateField(null=True, blank=True)
    due_back = models.DateField(null=True, blank=True, help_text="When a repair is expected back.")
    loan = models.ForeignKey(
        Loan, models.PROTECT, null=True, blank=True, related_name="pieces", help_text="The loan that it is on now."
    )
    cleaned_at = models.DateTimeField(null=True, blank=True)
    inspected_at = models.DateTimeField(null=True, blank=True)
    called_back = models.CharField(
        max_length=20, blank=True, help_text="Its last wash load, when that was recalled; until it is washed again."
    )
    function_ok = models.BooleanField(null=True, blank=True)
    insulation_ok = models.BooleanField(null=True, blank=True)

    objects: ClassVar[Any] = PieceQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(PieceState)), name="piece_state_known"),
            models.CheckConstraint(
                condition=~Q(state__in=sorted(CLEAN))
                | Q(maker_sterile=True)
                | Q(cleaned_at__isnull=False, inspected_at__isnull=False, inspected_at__gte=models.F("cleaned_at")),
                name="piece_packed_only_when_cleaned_and_inspected",
            ),
            models.CheckConstraint(
                condition=~Q(state=PieceState.PACKED)
                | ((Q(function_ok=None) | Q(function_ok=True)) & (Q(insulation_ok=None) | Q(insulation_ok=True))),
                name="piece_packed_only_with_passed_tests",
            ),
            models.CheckConstraint(
                condition=Q(maker_sterile=False) | (~Q(lot="") | ~Q(serial="")),
                name="piece_maker_sterile_has_lot_or_serial",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def own_place(self) -> Place | None:
        """Where it was put; none while it goes with a pack or a case, or is out of the unit."""
        return None if self.state in ELSEWHERE else self.place

    @property
    def wear(self) -> Wear:
        """The piece's facts for the rules of its life."""
        return wear_of(self)


class Worn(Protocol):
    """What the rules of its life ask of a piece: a row of the table has it, so have its columns without a row."""

    code: str
    part: Part
    loan: Loan | None
    maker_sterile: bool
    cycles: int
    service_due: date | None
    function_ok: bool | None
    insulation_ok: bool | None
    expires: date | None
    called_back: str


def wear_of(piece: Worn) -> Wear:
    """A piece's facts for the rules of its life."""
    return Wear(
        subject=f"{piece.code} ({piece.part.name})",
        cycles=piece.cycles,
        life_limit=piece.part.life_limit,
        service_due=piece.service_due,
        needs_function_test=piece.part.function_test and not piece.maker_sterile,
        function_ok=piece.function_ok,
        needs_insulation_test=piece.part.insulated and not piece.maker_sterile,
        insulation_ok=piece.insulation_ok,
        expires=piece.expires,
        papers=piece.loan.papers if piece.loan else None,
        called_back=piece.called_back,
    )


@append_only
class LoanPiece(models.Model):
    """A piece that came or went with a loan, and how it arrived; never changes."""

    loan = models.ForeignKey(Loan, models.PROTECT, related_name="members")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="loans")
    condition = models.CharField(max_length=200, blank=True, help_text="On arrival, or as it left.")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["loan", "piece"], name="loan_piece_once")]

    def __str__(self) -> str:
        return f"{self.piece.code} on {self.loan.code}"


class Mark(models.Model):
    """What a scanner reads on a piece; a piece may have several, a mark belongs to one piece."""

    piece = models.ForeignKey(Piece, models.PROTECT, related_name="marks")
    key = models.CharField(max_length=120, unique=True, help_text="Canonical text, see docs/algorithms/marks.md.")
    text = models.CharField(max_length=200, help_text="As it was read.")
    scheme = models.CharField(max_length=10)
    current = models.BooleanField(default=True, help_text="False: replaced, still findable.")
    since = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-current", "id"]

    def __str__(self) -> str:
        return self.text


@append_only
class FunctionTest(models.Model):
    """A function or insulation test and its result."""

    piece = models.ForeignKey(Piece, models.PROTECT, related_name="tests")
    kind = models.CharField(max_length=20, choices=[("function", "function"), ("insulation", "insulation")])
    passed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.kind} {'passed' if self.passed else 'failed'}"


@append_only
class PieceLine(Line):
    """The trail of a piece."""

    SUBJECT = "piece"
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="lines")
