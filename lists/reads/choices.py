"""What could be allocated to a case's requirements."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from lists.models import Case
from lists.reads.readiness import stage_times
from lists.reads.stock import Asked, stock
from lists.stages import Stage, Whereabouts

ALLOCATABLE = ("tray", "pack")
_NEAREST = list(Stage)  # from sterile back to in use


def choices_for(case: Case, *, at: datetime) -> dict[int, tuple[Whereabouts, ...]]:
    """For each requirement, the trays and packs of its kind, those first that can serve soonest.

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
    found = stock(asked, now=timezone.localtime(at), times=stage_times()).values()
    useful = sorted(
        (row for row in found if row.kind in ALLOCATABLE),
        key=lambda row: (bool(row.stops), _NEAREST.index(row.stage), row.name),
    )
    return {
        row.pk: tuple(
            one for one in useful if one.serves == f"{'template' if row.template else 'part'}:{row.wanted.code}"
        )
        for row in requirements
    }
