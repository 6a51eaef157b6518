"""Loans, in and out: another party's pieces here, or our own with another unit."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from instruments.loans import Direction, Papers, PrionHistory
from instruments.states import OPEN_LOANS, LoanState
from journal.append_only import append_only
from journal.models import Line

_DIRECTIONS = [(str(way), str(way)) for way in Direction]
_STATES = [(str(state), str(state)) for state in LoanState]
_ANSWERS = [(str(answer), str(answer)) for answer in PrionHistory]


class LoanQuerySet(models.QuerySet["Loan"]):
    """Loans, chainable."""

    def still_open(self) -> LoanQuerySet:
        """Those that have not ended."""
        return self.filter(state__in=list(OPEN_LOANS))


class Loan(models.Model):
    """A loan from a lender or to another unit; its pieces are counted in and out."""

    code = models.CharField(max_length=20, unique=True)
    direction = models.CharField(max_length=3, choices=_DIRECTIONS)
    state = models.CharField(max_length=20, choices=_STATES, default=LoanState.AGREED)
    party = models.CharField(max_length=120, help_text="Lender or borrower.")
    reference = models.CharField(max_length=60, blank=True, help_text="As it stands on their paper.")
    due = models.DateField(help_text="Last day of the loan.")
    agreed = models.PositiveIntegerField(help_text="Pieces agreed.")
    instructions = models.CharField(
        max_length=200, blank=True, help_text="Where the maker's reprocessing instructions are on file."
    )
    prion_history = models.CharField(max_length=30, choices=_ANSWERS, default=PrionHistory.NOT_ASKED)
    certificate = models.CharField(max_length=60, blank=True, help_text="Its reference, for decontamination.")

    objects: ClassVar[Any] = LoanQuerySet.as_manager()

    class Meta:
        ordering = ["due", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(direction__in=list(Direction)), name="loan_direction_known"),
            models.CheckConstraint(condition=Q(state__in=list(LoanState)), name="loan_state_known"),
            models.CheckConstraint(condition=Q(prion_history__in=list(PrionHistory)), name="loan_answer_known"),
            models.CheckConstraint(condition=Q(agreed__gt=0), name="loan_has_pieces"),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def papers(self) -> Papers | None:
        """What is on file for a borrowed piece; the unit's own needs none of it."""
        if self.direction == Direction.OUT:
            return None
        return Papers(self.code, bool(self.instructions), PrionHistory(self.prion_history))


@append_only
class LoanLine(Line):
    """The trail of a loan."""

    SUBJECT = "loan"
    loan = models.ForeignKey(Loan, models.PROTECT, related_name="lines")
