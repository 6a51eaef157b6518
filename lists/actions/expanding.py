"""Bringing what a case needs in line with the versions of needs that it is expanded by."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from instruments.models import Part, PartKind, Size
from journal.findings import Finding
from lists.models import Case, Requirement, SizeWanted, StatedNeed
from lists.reads import versions_in_force
from lists.requirements import Catalogue, Expansion, ImplantOf, NeedKind, Planned, expand
from trays.companions import SizeOf
from trays.models import Template

BY_HAND = "added by hand"


def expand_case(case: Case, *, anew: bool) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """Bring a locked case's needs in line; what still suits keeps its allocation, what was added by hand stays.

    Args:
        case: the case as it is planned now.
        anew: by the versions in force; else by those that it was expanded by.

    Returns:
        What its line says of it, and what could not be told.
    """
    versions = versions_in_force(case.procedure, case.operator) if anew else list(case.expanded_by.all())
    needs = StatedNeed.objects.filter(version__in=versions).select_related("version", "template", "part", "series")
    stated = [row.stated for row in sorted(needs, key=lambda row: (row.version.operator, row.pk))]
    planned = Planned(case.code, case.planned_size, case.planned_implant)
    found = expand(stated, planned, _catalogue(need.kind for need in stated))
    _require(case, found)
    _want_sizes(case, found)
    case.expanded_by.set(versions)
    case.doubts = [finding.as_dict() for finding in found.findings]
    case.save(update_fields=["doubts"])
    return {"needs_of": [str(version) for version in versions]}, found.findings


def _catalogue(kinds: Iterable[NeedKind]) -> Catalogue:
    asked = set(kinds)
    series: dict[str, list[SizeOf]] = {}
    if NeedKind.SIZES in asked:
        for code, order, label in Size.objects.values_list("series__code", "order", "label"):
            series.setdefault(code, []).append(SizeOf(code, order, label))
    implants: tuple[ImplantOf, ...] = ()
    if NeedKind.IMPLANT in asked:
        rows = Part.objects.filter(kind=PartKind.IMPLANT, implant__isnull=False).order_by("code")
        figures = rows.values_list("code", "implant__diameter_mm", "implant__length_mm")
        implants = tuple(ImplantOf(code, float(wide), float(long)) for code, wide, long in figures if wide and long)
    return Catalogue(series, implants)


def _require(case: Case, found: Expansion) -> None:
    """Sets and packs: a row for each wanted one; a row of the same thing stays with its allocation."""
    wanted = Counter(found.wants)
    spare = list(case.requirements.exclude(source=BY_HAND).select_related("template", "part"))
    for exactly in (True, False):
        for row in list(spare):
            suits = (one for one in wanted if wanted[one] and _serves(row, one, exactly=exactly))
            match = next(suits, None)
            if match is not None:
                wanted[match] -= 1
                spare.remove(row)
                row.source, row.essential = match.source, match.essential
                row.save(update_fields=["source", "essential"])
    for row in spare:
        row.delete()
    templates = dict(Template.objects.filter(code__in={one.template for one in wanted}).values_list("code", "pk"))
    parts = dict(Part.objects.filter(code__in={one.part for one in wanted}).values_list("code", "pk"))
    Requirement.objects.bulk_create(
        Requirement(
            case=case,
            template_id=templates.get(one.template),
            part_id=parts.get(one.part),
            source=one.source,
            essential=one.essential,
        )
        for one in wanted.elements()
    )


def _serves(row: Requirement, one: Any, *, exactly: bool) -> bool:
    """Whether a requirement is for the same thing; exactly: from the same source, too."""
    same = row.wanted.code == (one.template or one.part) and bool(row.template_id) == bool(one.template)
    return same and (not exactly or (row.source, row.essential) == (one.source, one.essential))


def _want_sizes(case: Case, found: Expansion) -> None:
    case.sizes_wanted.all().delete()
    keys = {(code, label): pk for code, label, pk in Size.objects.values_list("series__code", "label", "pk")}
    SizeWanted.objects.bulk_create(
        SizeWanted(case=case, size_id=keys[one.size.series, one.size.label], source=one.source) for one in found.sizes
    )
