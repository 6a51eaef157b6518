"""Loans, in and out: what must be on file, how the count adds up, and when it is due."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from journal.findings import Finding, Severity, stop

NAMED = 6
"""So many pieces are named in one sentence; the loan's page has them all."""


class Direction(StrEnum):
    """Which way a loan goes."""

    IN = "in"
    OUT = "out"


class PrionHistory(StrEnum):
    """What the lender answered when asked whether the set touched a patient at increased risk of prion disease."""

    NOT_ASKED = "not asked"
    NO_RISK = "no risk known"
    CANNOT_SAY = "the lender cannot say"
    RISK = "risk reported"


class Outcome(StrEnum):
    """What became of a piece of a loan."""

    NOT_BACK = "not back"
    BACK = "back"
    USED_UP = "used up"
    MISSING = "missing"


ACCOUNTED: frozenset[Outcome] = frozenset({Outcome.BACK, Outcome.USED_UP})


@dataclass(frozen=True, slots=True)
class Papers:
    """What is on file for a borrowed piece.

    Args:
        loan: code of the loan that it came with.
        instructions: the maker's reprocessing instructions are on file.
        prion_history: what the lender answered.
    """

    loan: str
    instructions: bool
    prion_history: PrionHistory


@dataclass(frozen=True, slots=True)
class Member:
    """A piece of a loan, as a person would name it, and what became of it."""

    subject: str
    outcome: Outcome


def against_packing(subject: str, papers: Papers) -> Iterator[Finding]:
    """Whatever in a loan's papers forbids packing a piece of it.

    A lender who cannot say is an answer: what follows from it is for the unit's own policy.

    Args:
        subject: the piece.
        papers: what is on file for it.

    Yields:
        Findings of severity stop.
    """
    if not papers.instructions:
        yield stop(
            "instructions-missing",
            subject,
            f"Cannot pack {subject}: the maker’s reprocessing instructions for loan {papers.loan} "
            "are not on file, they must be.",
            "Ask the lender for them and file their reference on the loan’s page.",
        )
    if papers.prion_history is PrionHistory.NOT_ASKED:
        yield stop(
            "prion-history-not-asked",
            subject,
            f"Cannot pack {subject}: the lender of loan {papers.loan} was not asked about prion risk, must be.",
            "Ask, and record the answer on the loan’s page.",
        )
    if papers.prion_history is PrionHistory.RISK:
        yield stop(
            "prion-risk",
            subject,
            f"Cannot pack {subject}: the lender of loan {papers.loan} reports a prion risk.",
            "Keep it from the washer, quarantine it, and call the quality lead.",
        )


def count_differs(loan: str, agreed: int, counted: int, reason: str) -> Iterator[Finding]:
    """A count other than the one agreed takes a reason.

    Args:
        loan: its code.
        agreed: pieces agreed.
        counted: pieces on the loan.
        reason: why they differ; empty when none is given.

    Yields:
        At most one stop.
    """
    if counted != agreed and not reason:
        yield stop(
            "count-differs",
            loan,
            f"Cannot confirm the count of {loan}: it is {counted}, must be {agreed} as agreed.",
            "Count again; if it is so, tell the other party and state the reason.",
            counted=counted,
            agreed=agreed,
        )


def open_count(loan: str, members: Sequence[Member]) -> Iterator[Finding]:
    """A loan ends only when every piece of it is back or used up by record.

    Args:
        loan: its code.
        members: its pieces.

    Yields:
        At most one stop, which names the pieces.
    """
    open_ones = [member for member in members if member.outcome not in ACCOUNTED]
    if open_ones:
        names = ", ".join(f"{member.subject} ({member.outcome})" for member in open_ones[:NAMED])
        more = f" and {len(open_ones) - NAMED} more" if len(open_ones) > NAMED else ""
        yield stop(
            "count-open",
            loan,
            f"Cannot close {loan}: {len(members) - len(open_ones)} of {len(members)} are back or used up, "
            f"must be all. Open: {names}{more}.",
            "Look for them; only a named decision with its reason closes a loan short.",
            open=len(open_ones),
            pieces=len(members),
        )


def due_back(
    loan: str, party: str, direction: Direction, due: date, today: date, *, soon_days: int
) -> tuple[Finding, ...]:
    """Whether a running loan is overdue or due soon.

    Args:
        loan: its code.
        party: lender or borrower.
        direction: which way it goes.
        due: last day of the loan.
        today: the day in the unit's time zone.
        soon_days: how long ahead it is announced [d].

    Returns:
        At most one finding of severity look.
    """
    left = (due - today).days
    if left > soon_days:
        return ()
    what = f"Loan {loan} from {party} must go back" if direction is Direction.IN else f"Loan {loan} to {party} is due"
    remedy = (
        "Process what is left of it, file the certificate and count it out."
        if direction is Direction.IN
        else "Ask for it, and count it in when it comes."
    )
    when = f"by {due:%a %d-%b-%Y}" if left >= 0 else f"since {due:%a %d-%b-%Y}: it is overdue"
    slug = "loan-due-soon" if left >= 0 else "loan-overdue"
    return (Finding(slug, Severity.LOOK, loan, f"{what} {when}.", remedy, {"days_left": left}),)
