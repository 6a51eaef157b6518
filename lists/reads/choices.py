"""What could be allocated to a case's requirements."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q
from django.utils import timezone

from journal.findings import Finding
from lists.models import Allocation, Case
from lists.readiness import earliest, in_date
from lists.reads.readiness import stage_times
from lists.reads.stock import Asked, stock
from lists.stages import Stage, StageTimes, Whereabouts
from lists.states import OPEN_CASES

ALLOCATABLE = ("tray", "pack")
_NEAREST = list(Stage)  # from sterile back to in use


@dataclass(frozen=True, slots=True)
class Choice:
    """A tray or a pack that could serve, and what to know before it is chosen.

    Args:
        found: where it is.
        sterile_at: when it can be sterile, as it is now; None when it is, or cannot serve.
        in_time: whether it is sterile early enough for the case.
        stops: why it cannot serve.
        cases: codes of the other open cases that it is to serve.
    """

    found: Whereabouts
    sterile_at: datetime | None
    in_time: bool
    stops: tuple[Finding, ...]
    cases: tuple[str, ...]

    @property
    def sizes(self) -> list[str]:
        """Labels of the barrels in it."""
        return sorted(self.found.sizes)


def choices_for(case: Case, *, at: datetime) -> dict[int, tuple[Choice, ...]]:
    """For each requirement, the trays and packs of its kind: first those in time, free, and nearest to sterile.

    Args:
        case: the case.
        at: the moment of asking.
    """
    requirements = list(case.requirements.select_related("template", "part"))
    asked = Asked(
        templates={row.template_id for row in requirements if row.template_id},
        parts={row.part_id for row in requirements if row.part_id},
        trays=[],
        packs=set(),
    )
    now, times = timezone.localtime(at), stage_times()
    found = [row for row in stock(asked, now=now, times=times).values() if row.kind in ALLOCATABLE]
    taken = _taken({row.code for row in found}, case)
    choices = [_choice(row, case, taken.get(row.code, ()), now=now, times=times) for row in found]
    choices.sort(key=_usefulness)
    return {
        row.pk: tuple(
            one for one in choices if one.found.serves == f"{'template' if row.template else 'part'}:{row.wanted.code}"
        )
        for row in requirements
    }


def _usefulness(choice: Choice) -> tuple[Any, ...]:
    found = choice.found
    return (
        bool(choice.stops),
        not choice.in_time,
        bool(choice.cases),
        _NEAREST.index(found.stage),
        found.name,
        found.code,
    )


def _choice(found: Whereabouts, case: Case, cases: Collection[str], *, now: datetime, times: StageTimes) -> Choice:
    starts_at = timezone.localtime(case.starts_at)
    stops = found.stops or tuple(in_date(found, starts_at))
    waits = not stops and found.stage is not Stage.STERILE
    sterile_at = earliest(found, now, times) if waits else None
    in_time = not stops and (sterile_at is None or sterile_at <= times.deadline(starts_at))
    return Choice(found, sterile_at, in_time, stops, tuple(cases))


def _taken(codes: Collection[str], case: Case) -> dict[str, list[str]]:
    """The other open cases that trays and packs are to serve, by code."""
    rows = Allocation.objects.filter(requirement__case__state__in=OPEN_CASES).exclude(requirement__case=case)
    rows = rows.filter(Q(tray__code__in=codes) | Q(pack__code__in=codes) | Q(pack__tray__code__in=codes))
    found: dict[str, list[str]] = defaultdict(list)
    wanted = rows.order_by("requirement__case__starts_at", "requirement__case__code")
    for tray, pack, of, code in wanted.values_list(
        "tray__code", "pack__code", "pack__tray__code", "requirement__case__code"
    ):
        found[tray or of or pack].append(code)
    return found
