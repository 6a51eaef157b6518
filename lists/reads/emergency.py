"""Emergencies that are not over: what each has taken, and which listed cases were to get it."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils import timezone

from journal.roles import Role
from journal.telling import Concern
from lists.models import Allocation, Case
from lists.states import OPEN_CASES, CaseState


def emergencies() -> Iterator[Concern]:
    """A concern for each emergency case that is not over: the list is to be looked at again."""
    rows = Case.objects.filter(emergency=True, state__in=sorted(OPEN_CASES)).select_related("list__theatre")
    for case in rows.prefetch_related("issues__pack"):
        packs = [issue.pack for issue in case.issues.all()]
        taken = ", ".join(f"{pack.name} {pack.code}" for pack in packs) or "nothing yet"
        trays = [pack.tray_id for pack in packs if pack.tray_id]
        left = Allocation.objects.filter(tray__in=trays, requirement__case__state=CaseState.PLANNED)
        left = left.exclude(requirement__case=case).filter(requirement__case__list__day__gte=case.list.day)
        codes = sorted(set(left.values_list("requirement__case__code", flat=True)))
        was = f" It was to serve {', '.join(codes)}." if codes else ""
        yield Concern(
            cause=f"emergency:{case.code}",
            role=Role.COORDINATOR,
            sentence=f"Emergency case {case.code} in {case.list.theatre.name} since "
            f"{timezone.localtime(case.starts_at):%H:%M} has taken {taken}.{was}",
            remedy="Look at the list, its plan and the standing sets again.",
            link=f"/lists/{case.list.day.isoformat()}/",
        )
