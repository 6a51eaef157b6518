"""What a go / no go sheet says: each case to come with its verdict, what stands in the way, who has taken it on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from journal.findings import Finding
from journal.models import Notice
from journal.reads import policy
from lists.models import Case
from lists.readiness import CaseReadiness
from lists.reads.readiness import DayReadiness, list_readiness
from lists.states import CaseState


@dataclass(frozen=True, slots=True)
class GoRow:
    """A case to come, its judgement, and the notice of it while one is open."""

    case: Case
    readiness: CaseReadiness
    notice: Notice | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What stands in the way or is to be looked at, each with its remedy."""
        return self.readiness.findings


@dataclass(frozen=True, slots=True)
class Going:
    """A day's cases to come as the sheet says them."""

    found: DayReadiness
    rows: tuple[GoRow, ...]


def case_cause(code: str) -> str:
    """How the notice of a case names its cause."""
    return f"case:{code}"


def going(day: date, *, at: datetime) -> Going:
    """What the sheet of a day says at a moment."""
    found = list_readiness(day, at=at)
    judged = [(row.case, row.readiness) for row in found.rows if row.readiness is not None]
    causes = [case_cause(case.code) for case, _ in judged]
    rows = Notice.objects.still_open().filter(topic="cases", cause__in=causes).select_related("acknowledged_by")
    notices = {notice.cause: notice for notice in rows}
    return Going(found, tuple(GoRow(case, one, notices.get(case_cause(case.code))) for case, one in judged))


def sheet_due(at: datetime) -> tuple[date, date] | None:
    """The last cut-off before a moment, and the next day after it with cases to come; None where none is near."""
    local = timezone.localtime(at)
    hour = int(policy("sheet_hour"))
    cutoff_on = local.date() if local.hour >= hour else local.date() - timedelta(days=1)
    last = cutoff_on + timedelta(days=int(policy("case_horizon_days")))
    days = Case.objects.filter(state=CaseState.PLANNED, list__day__gt=cutoff_on, list__day__lte=last)
    day = days.order_by("list__day").values_list("list__day", flat=True).first()
    return None if day is None else (cutoff_on, day)
