"""What the pages of a day and of a case show of a judgement."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from journal.findings import Finding, Severity, stops
from lists.models import Case, Requirement
from lists.readiness import CaseReadiness, NeedReadiness
from lists.reads import CaseFixes, CaseRow
from lists.states import Readiness
from trays.models import Pack, Tray


@dataclass(frozen=True, slots=True)
class SetShown:
    """One thing that a case needs, and the tray or pack that is to serve it; none while nothing is chosen.

    `told`: what is said of its case above it already.
    """

    need: NeedReadiness
    chosen: Tray | Pack | None
    told: str = ""

    @property
    def complete(self) -> bool:
        """Whether nothing is left to do for it."""
        return self.need.verdict is Readiness.COMPLETE

    @property
    def first(self) -> tuple[Finding, ...]:
        """The first, gravest thing that is found of it, unless it is told above."""
        return tuple(one for one in self.need.findings[:1] if one.sentence not in self.told)

    @property
    def more(self) -> tuple[Finding, ...]:
        """What else is found of it."""
        return self.need.findings[len(self.first) :]

    @property
    def folded(self) -> bool:
        """Whether the case can begin without it and nothing of it is amiss, so that it need not be read at once."""
        return not self.need.need.essential and self.need.verdict not in (Readiness.SHORT, Readiness.LATE)


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
    def open_sets(self) -> tuple[SetShown, ...]:
        """What is to be read at once."""
        return tuple(one for one in self.sets if not one.folded)

    @property
    def folded_sets(self) -> tuple[SetShown, ...]:
        """What the case can begin without, and nothing of it is amiss."""
        return tuple(one for one in self.sets if one.folded)

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """What no single set explains and has to be seen to."""
        return tuple(one for one in self.beside if one.severity is not Severity.NOTE)

    @property
    def notes(self) -> tuple[Finding, ...]:
        """What no single set explains and is only said."""
        return tuple(one for one in self.beside if one.severity is Severity.NOTE)

    @property
    def folded_words(self) -> str:
        """What is folded, in words: “4 more that it can begin without, 3 of them not planned; 2 notes”."""
        optional, notes = len(self.folded_sets), len(self.notes)
        unplanned = sum(one.need.verdict is Readiness.NOT_PLANNED for one in self.folded_sets)
        which = "not planned" if unplanned == optional else f"{unplanned} of them not planned"
        said = f"{optional} more that it can begin without{f', {which}' if unplanned else ''}" if optional else ""
        told = f"{notes} note{'' if notes == 1 else 's'}" if notes else ""
        return "; ".join(filter(None, (said, told)))

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
    cause = fixes.cause.sentence if fixes and fixes.cause else ""
    return CaseShown(row.case, row.readiness, sets_of(needs, row.case.requirements.all(), cause), beside, fixes)


def sets_of(
    needs: Iterable[NeedReadiness], requirements: Iterable[Requirement], told: str = ""
) -> tuple[SetShown, ...]:
    """Each need with the tray or pack that was allocated to it."""
    chosen = {row.pk: row.allocation.chosen for row in requirements if getattr(row, "allocation", None)}
    return tuple(SetShown(need, chosen.get(need.need.requirement), told) for need in needs)
