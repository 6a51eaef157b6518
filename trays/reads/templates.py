"""Questions to templates and their versions."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Prefetch

from instruments.models import Part, Size
from journal.findings import Finding, Refused, Severity
from journal.reads import policy
from trays.changes import changed_lines
from trays.matching import Alternative, CompanionRule, SizeOf, Wanted, WantedLine
from trays.models import SeriesRule, Template, TemplateLine, TemplateVersion, Tray
from trays.states import VersionState


def published_version(template: Template) -> TemplateVersion:
    """The version that trays are assembled to now.

    Raises:
        Refused: none has been published.
    """
    version = template.versions.filter(state=VersionState.PUBLISHED).first()
    if version is None:
        raise Refused(
            Finding(
                "no-version",
                Severity.STOP,
                template.code,
                f"Cannot assemble {template.name}: no version of its list is published, one must be.",
                "Have its list published first.",
            )
        )
    return version


def version_facts(tray: Tray, current: TemplateVersion, worked_from: int | None) -> tuple[Finding, ...]:
    """That the list has changed since a person began to work from it, with each change; empty when it has not."""
    if worked_from is None or worked_from == current.number:
        return ()
    older = tray.template.versions.filter(number=worked_from).first()
    changes = changed_lines(wanted(older).lines, wanted(current).lines) if older else ()
    sentence = (
        f"Cannot finish {tray.name}: it was assembled to version {worked_from}, must be version {current.number}."
    )
    remedy = f"Look at what has changed and finish again: {'; '.join(changes) or 'no line'}."
    return (Finding("list-changed", Severity.STOP, tray.code, sentence, remedy),)


def wanted(version: TemplateVersion) -> Wanted:
    """What a version of a list asks for, with the weight policy in force."""
    return wanted_of([version.pk])[version.pk]


def wanted_of(versions: Collection[int]) -> dict[int, Wanted]:
    """What each of these versions asks for, by its key, in a number of queries that does not grow with them."""
    lines = TemplateLine.objects.select_related("part__size__series").prefetch_related("substitutes__part")
    rules = SeriesRule.objects.select_related("series").prefetch_related("series__sizes").order_by("series__code")
    rows = TemplateVersion.objects.filter(pk__in=versions).prefetch_related(
        Prefetch("lines", lines), Prefetch("series_rules", rules)
    )
    limit_g = float(policy("tray_mass_limit_g"))
    return {
        row.pk: Wanted(
            tuple(_line(line) for line in row.lines.all()),
            tuple(_rule(rule) for rule in row.series_rules.all()),
            limit_g,
        )
        for row in rows
    }


def size_of(part: Part) -> SizeOf | None:
    """A part's size as the rules of a tray see it; the part must have been read with size and series."""
    return None if part.size is None else SizeOf(part.size.series.code, part.size.order, part.size.label)


def _line(row: TemplateLine) -> WantedLine:
    return WantedLine(
        row.position,
        row.part.code,
        row.part.name,
        row.quantity,
        row.essential,
        tuple(Alternative(other.part.code, other.part.name, other.reason) for other in row.substitutes.all()),
        row.part.kind,
        size_of(row.part),
    )


def _rule(row: SeriesRule) -> CompanionRule:
    sizes: list[Size] = []
    if row.first_order is not None and row.last_order is not None:
        sizes = [size for size in row.series.sizes.all() if row.first_order <= size.order <= row.last_order]
    return CompanionRule(
        row.series.code,
        row.series.name,
        tuple(SizeOf(row.series.code, size.order, size.label) for size in sizes),
        row.wants_sheath,
        row.wants_seal,
    )
