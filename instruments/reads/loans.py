"""Questions to loans."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F, Q

from instruments.loans import Direction, Member, Outcome, PrionHistory, due_back
from instruments.models import Loan, LoanPiece, Piece, PieceLine
from instruments.states import LoanState, PieceState
from journal.findings import Finding, stop
from journal.reads import policy

_SPENT = ("implant", "discard", "destroy")


@dataclass(frozen=True, slots=True)
class LoanMember:
    """A piece of a loan for its page and its count."""

    piece: Piece
    condition: str
    fact: Member


def members_of(loan: Loan) -> tuple[LoanMember, ...]:
    """The pieces of a loan and what became of each, in a number of queries that does not grow with them.

    A borrowed piece that was used up by record (an implant, a single-use item, one destroyed by decision) is
    accounted for; one that was withdrawn for a fault must still go back. Of the unit's own, a piece
    withdrawn while it was away is accounted for by the reason of its withdrawal.
    """
    rows = list(LoanPiece.objects.filter(loan=loan).select_related("piece__part", "piece__place", "piece__loan"))
    withdrawn = [row.piece_id for row in rows if row.piece.state == PieceState.WITHDRAWN]
    ends = _SPENT if loan.direction == Direction.IN else (*_SPENT, "withdraw")
    lines = PieceLine.objects.filter(piece__in=withdrawn, target=PieceState.WITHDRAWN).order_by("id")
    last = dict(lines.values_list("piece_id", "verb"))
    used_up = {piece for piece, verb in last.items() if verb in ends}
    return tuple(
        LoanMember(row.piece, row.condition, Member(_name(row.piece), _outcome(row.piece, loan, used_up)))
        for row in rows
    )


def _name(piece: Piece) -> str:
    return f"{piece.part.name} {piece.code}"


def _outcome(piece: Piece, loan: Loan, used_up: set[int]) -> Outcome:
    if piece.loan_id != loan.pk:
        return Outcome.BACK
    if piece.pk in used_up:
        return Outcome.USED_UP
    return Outcome.MISSING if piece.state == PieceState.MISSING else Outcome.NOT_BACK


@dataclass(frozen=True, slots=True)
class LoanRow:
    """A loan on the list of loans: how many pieces it has, how many are accounted for, and whether it is due."""

    loan: Loan
    pieces: int
    gone: int
    findings: tuple[Finding, ...]


def loans_with_counts(today: date, *, code: str = "") -> Iterator[LoanRow]:
    """Every loan, or the one of this code, the one due first on top, in one query beside the policy's.

    `gone`: pieces of a loan out that are back, or of a loan in that went back; used-up ones are not counted here.
    """
    soon_days = int(policy("loan_soon_days"))
    still_on_it = Count("members", filter=Q(members__piece__loan=F("pk")))
    rows: Any = Loan.objects.annotate(came=Count("members"), there=still_on_it).order_by("due", "code")
    for loan in rows.filter(code=code) if code else rows:
        running = loan.state == LoanState.ON_LOAN
        due = due_back(loan.code, loan.party, Direction(loan.direction), loan.due, today, soon_days=soon_days)
        yield LoanRow(loan, loan.came, loan.came - loan.there, due if running else ())


def wrong_loan(loan: Loan, way: Direction, words: str) -> Iterator[Finding]:
    """A piece joins only a loan of this way whose count is not confirmed yet."""
    if (loan.direction, loan.state) != (way, LoanState.AGREED):
        yield stop(
            "wrong-loan",
            loan.code,
            f"Cannot {words} {loan.code}: it is a loan {loan.direction}, {loan.state}, "
            f"must be a loan {way}, {LoanState.AGREED}.",
            "Choose another loan, or agree a new one.",
        )


def may_arrive(loan: Loan) -> Iterator[Finding]:
    """Why a piece may not be received on a loan."""
    yield from wrong_loan(loan, Direction.IN, "receive a piece of")
    if loan.prion_history == PrionHistory.RISK:
        yield stop(
            "prion-risk",
            loan.code,
            f"Cannot receive a piece of {loan.code}: its lender reports a prion risk.",
            "Leave it closed, keep it apart, and call the quality lead.",
        )


def lacks_certificate(loan: Loan, words: str) -> Iterator[Finding]:
    """Nothing leaves the unit without a decontamination certificate on file."""
    if not loan.certificate:
        yield stop(
            "certificate-missing",
            loan.code,
            f"Cannot {words} {loan.code}: no decontamination certificate is on file, one must be.",
            "File its reference on the loan’s page.",
        )


def may_go_back(piece: Piece, loan: Loan | None) -> Iterator[Finding]:
    """Why a locked piece may not go back on the locked loan that it was found on."""
    if loan is None or piece.loan_id != loan.pk or loan.direction != Direction.IN:
        yield stop("not-borrowed", piece.code, f"Cannot give back {piece.code}: it is not here on loan.")
        return
    if loan.state == LoanState.AGREED:
        yield stop(
            "count-not-confirmed",
            loan.code,
            f"Cannot give back {piece.code} on {loan.code}: the count of its arrival is not confirmed, must be.",
            "Confirm the count first.",
        )
    yield from lacks_certificate(loan, f"give back {piece.code} on")
