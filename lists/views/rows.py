"""What the pages of a day and of a case show of a judgement."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from journal.findings import Finding, stops
from lists.models import Case, Requirement
from lists.readiness import CaseReadiness, NeedReadiness
from lists.reads import CaseFixes, CaseRow
from lists.states import Readiness
from trays.models import Pack, Tray


@dataclass(frozen=True, slots=True)
class SetShown:
    """One thing that a case needs, and the tray or pack that is to serve it; none while nothing is chosen."""

    need: NeedReadiness
    chosen: Tray | Pack | None

    @property
    def complete(self) -> bool:
        """Whether nothing is left to do for it."""
        return self.need.verdict is Readiness.COMPLETE

    @property
    def more(self) -> tuple[Finding, ...]:
        """What is found of it besides the first, gravest thing."""
        return self.need.findings[1:]


@dataclass(frozen=True, slots=True)
class CaseShown:
    """A case with its judgement, its sets, and what no single set explains."""

    case: Case
    readiness: CaseReadiness | None
    sets: tuple[SetShown, ...]
    beside: tuple[Finding, ...]
    fixes: CaseFixes | None = None

    @property
    def over(self) -> bool:
        """Whether it has ended."""
        return self.readiness is None

    @property
    def several(self) -> bool:
        """Whether it needs more than one thing, so that each must say its own verdict."""
        return len(self.sets) > 1

    @property
    def unchosen(self) -> int:
        """How many of its needs have nothing chosen, although the unit has what could serve them."""
        return sum(one.need.verdict is Readiness.NOT_PLANNED for one in self.sets)

    @property
    def needs_work(self) -> bool:
        """Whether it is still to come and not complete."""
        return self.readiness is not None and self.readiness.verdict is not Readiness.COMPLETE

    @property
    def to_do(self) -> str:
        """The one thing to do, with what it is about: what forbids first, then what decides the verdict."""
        if self.readiness is None:
            return ""
        deciding = [
            finding
            for need in self.readiness.needs
            if need.need.essential and need.verdict is self.readiness.verdict
            for finding in need.findings
        ]
        told = (*stops(self.readiness.findings), *deciding, *self.readiness.findings)
        return next((f"{one.subject}: {one.remedy}" for one in told if one.remedy), "")

    @property
    def by_then(self) -> bool:
        """Whether it can be ready on its own day."""
        ready_at = self.readiness.ready_at if self.readiness else None
        return ready_at is not None and ready_at.date() == timezone.localdate(self.case.starts_at)


def day_row(row: CaseRow, fixes: CaseFixes | None = None) -> CaseShown:
    """A case of a day as its page shows it, with what would help it."""
    if row.readiness is None:
        return CaseShown(row.case, None, (), ())
    needs = row.readiness.needs
    told = [finding for need in needs for finding in need.findings]
    beside = tuple(finding for finding in row.readiness.findings if finding not in told)
    return CaseShown(row.case, row.readiness, sets_of(needs, row.case.requirements.all()), beside, fixes)


def sets_of(needs: Iterable[NeedReadiness], requirements: Iterable[Requirement]) -> tuple[SetShown, ...]:
    """Each need with the tray or pack that was allocated to it."""
    chosen = {row.pk: row.allocation.chosen for row in requirements if getattr(row, "allocation", None)}
    return tuple(SetShown(need, chosen.get(need.need.requirement)) for need in needs)
