"""The cases of a day as other systems are told of them."""

from __future__ import annotations

from datetime import date

from lists.intake.emitting import Planned
from lists.models import Case
from lists.states import CaseState


def planned_on(day: date) -> list[Planned]:
    """Every case of a day, by theatre and start; the cancelled ones say that they are."""
    cases = Case.objects.filter(list__day=day).select_related("list__theatre", "procedure")
    return [
        Planned(
            reference=case.reference,
            theatre=case.list.theatre.code,
            theatre_name=case.list.theatre.name,
            procedure=case.procedure.code,
            procedure_name=case.procedure.name,
            starts_at=case.starts_at,
            duration_min=case.duration_min,
            planned_size=case.planned_size,
            planned_implant=case.planned_implant,
            operator=case.operator,
            cancelled=case.state == CaseState.CANCELLED,
        )
        for case in cases.order_by("list__theatre__code", "starts_at", "code")
    ]
