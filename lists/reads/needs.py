"""Which version of what is asked for is in force."""

from __future__ import annotations

from django.db.models import Q

from lists.models import Case, NeedsVersion, Procedure


def versions_in_force(procedure: Procedure, operator: str) -> list[NeedsVersion]:
    """The latest version of the standard, and of what the operator asks for at it and at every procedure."""
    asked = Q(procedure=procedure, operator="")
    if operator:
        asked |= Q(operator=operator) & (Q(procedure=procedure) | Q(procedure=None))
    latest: dict[tuple[str, int | None], NeedsVersion] = {}
    for version in NeedsVersion.objects.filter(asked).order_by("operator", "procedure", "number"):
        latest[version.operator, version.procedure_id] = version
    return list(latest.values())


def newer_needs(case: Case) -> list[NeedsVersion]:
    """The versions in force, where they are not those that a case was expanded by; else none."""
    found = versions_in_force(case.procedure, case.operator)
    return [] if set(found) == set(case.expanded_by.all()) else found
