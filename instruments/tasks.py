"""Jobs on pieces and loans: whose life, service date, repair or loan is near its end."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from celery import shared_task
from django.utils import timezone

from instruments.loans import Direction, PrionHistory
from instruments.models import Loan
from instruments.reads import in_repair, loans_with_counts, service_plan
from journal.actions import Concern, look_and_tell
from journal.findings import Finding
from journal.reads import policy
from journal.roles import Role


@shared_task
def watch_life() -> None:
    """Tell the technicians which pieces near their life limit or service date, and which repairs are overdue."""
    at = timezone.now()
    look_and_tell("life", lambda: _near_their_end(at), at=at)


def _near_their_end(at: datetime) -> Iterator[Concern]:
    today = timezone.localdate(at)
    cycles_left, service_days = int(policy("cycles_left_soon")), int(policy("service_soon_days"))
    for row in service_plan(today, days=service_days, cycles_left=cycles_left):
        for finding in row.findings:
            yield _concern(finding, row.piece.code, f"/pieces/{row.piece.code}/")
    for repair in in_repair(today):
        if repair.overdue:
            piece, to = repair.piece, repair.to or "repair"
            yield Concern(
                cause=f"repair-overdue:{piece.code}",
                role=Role.TECHNICIAN,
                sentence=f"{piece.code} ({piece.part.name}) was expected back from {to} by {piece.due_back:%d-%b-%Y}.",
                remedy="Ask for it.",
                link=f"/pieces/{piece.code}/",
            )


def _concern(finding: Finding, code: str, link: str) -> Concern:
    return Concern(f"{finding.slug}:{code}", Role.TECHNICIAN, finding.sentence, finding.remedy, link)


@shared_task
def watch_loans() -> None:
    """Tell the technicians which loans are due or overdue, and which lack a paper without which nothing is packed."""
    at = timezone.now()
    look_and_tell("loans", lambda: _about_loans(at), at=at)


def _about_loans(at: datetime) -> Iterator[Concern]:
    for row in loans_with_counts(timezone.localdate(at)):
        for finding in row.findings:
            yield _concern(finding, row.loan.code, _page(row.loan))
    for loan in Loan.objects.still_open().filter(direction=Direction.IN):
        lacks = [] if loan.instructions else ["the maker’s reprocessing instructions"]
        lacks += ["the answer on prion risk"] if loan.prion_history == PrionHistory.NOT_ASKED else []
        if lacks:
            yield Concern(
                cause=f"loan-papers:{loan.code}",
                role=Role.TECHNICIAN,
                sentence=f"Loan {loan.code} from {loan.party} lacks {' and '.join(lacks)}.",
                remedy="Ask the lender: without them nothing of it is packed.",
                link=_page(loan),
            )


def _page(loan: Loan) -> str:
    return f"/stock/loans/{loan.code}/"
