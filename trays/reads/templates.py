"""Questions to templates and their versions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from instruments.models import Part, ProgrammeKind, Size, Validation
from journal.findings import Finding, Refused, Severity
from journal.reads import policy
from trays.changes import changes
from trays.matching import Alternative, CompanionRule, SizeOf, Wanted, WantedLine
from trays.models import Pack, SeriesRule, Substitute, Template, TemplateLine, TemplateVersion, Tray
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
    said = changes(wanted(older), wanted(current)) if older else ()
    sentence = (
        f"Cannot finish {tray.name}: it was assembled to version {worked_from}, must be version {current.number}."
    )
    remedy = f"Look at what has changed and finish again. {' '.join(said)}".strip()
    return (Finding("list-changed", Severity.STOP, tray.code, sentence, remedy),)


def wanted(version: TemplateVersion) -> Wanted:
    """What a version of a list asks for, with the weight policy in force."""
    return wanted_of([version.pk])[version.pk]


def wanted_of(versions: Collection[int]) -> dict[int, Wanted]:
    """What each of these versions asks for, by its key, in a number of queries that does not grow with them."""
    lines: dict[int, list[WantedLine]] = {version: [] for version in versions}
    rules: dict[int, list[CompanionRule]] = {version: [] for version in versions}
    others: dict[int, list[Alternative]] = {}
    stand_ins = Substitute.objects.filter(line__version__in=versions).order_by("line", "rank")
    for line, *other in stand_ins.values_list("line", "part__code", "part__name", "reason"):
        others.setdefault(line, []).append(Alternative(*other))
    listed = TemplateLine.objects.filter(version__in=versions).order_by("version", "position")
    for version, line, *told in listed.values_list("version", "pk", *_OF_A_LINE):
        lines[version].append(_line(told, others.get(line, ())))
    found = SeriesRule.objects.filter(version__in=versions).select_related("series")
    for rule in found.prefetch_related("series__sizes").order_by("series__code"):
        rules[rule.version_id].append(_rule(rule))
    limit_g = float(policy("tray_mass_limit_g"))
    return {version: Wanted(tuple(lines[version]), tuple(rules[version]), limit_g) for version in versions}


def size_of(part: Part) -> SizeOf | None:
    """A part's size as the rules of a tray see it; the part must have been read with size and series."""
    return None if part.size is None else SizeOf(part.size.series.code, part.size.order, part.size.label)


_OF_A_LINE = (
    *("position", "part__code", "part__name", "quantity", "essential", "part__kind"),
    *("part__size__series__code", "part__size__order", "part__size__label"),
)


def _line(told: Sequence[Any], others: Iterable[Alternative]) -> WantedLine:
    """A line of its columns: rows would cost the bench a third of its answer's time."""
    position, code, name, quantity, essential, kind, *size = told
    of = SizeOf(*size) if size[0] is not None else None
    return WantedLine(position, code, name, quantity, essential, tuple(others), kind, of)


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


def sterilising_programmes(parts: Iterable[int]) -> dict[int, set[str]]:
    """Codes of the programmes validated for each of these parts, by the part's key.

    Only sterilising programmes for wrapped goods count: a wash suits nearly everything, and a tray is
    never run unwrapped.
    """
    allowed: dict[int, set[str]] = {}
    rows = Validation.objects.filter(part__in=set(parts), programme__immediate=False)
    for part, programme in rows.exclude(programme__kind=ProgrammeKind.WASH).values_list("part", "programme__code"):
        allowed.setdefault(part, set()).add(programme)
    return allowed


def version_in_force(version: TemplateVersion) -> TemplateVersion | None:
    """The version that is in force in the place of a superseded one; None when this one is, or none is."""
    if version.state != VersionState.SUPERSEDED:
        return None
    return TemplateVersion.objects.filter(template=version.template_id, state=VersionState.PUBLISHED).first()


@dataclass(frozen=True, slots=True)
class TemplateStanding:
    """Where a template stands.

    Args:
        template: the template.
        in_force: the version that trays are assembled to.
        lines: lines of the version in force.
        draft: the version that is being written.
        trays: trays in service.
        old_packs: live packs that were assembled to an older version.
    """

    template: Template
    in_force: TemplateVersion | None
    lines: int
    draft: TemplateVersion | None
    trays: int
    old_packs: int

    @property
    def older_words(self) -> str:
        """How many packs are of an older list: “2 packs”."""
        return f"{self.old_packs} pack{'' if self.old_packs == 1 else 's'}"


def template_standings() -> list[TemplateStanding]:
    """Every template by code, in a number of queries that does not grow with them."""
    versions: dict[int, dict[str, TemplateVersion]] = {}
    for row in TemplateVersion.objects.exclude(state=VersionState.SUPERSEDED):
        versions.setdefault(row.template_id, {})[row.state] = row
    in_force = Q(version__state=VersionState.PUBLISHED)
    lines = Counter(TemplateLine.objects.filter(in_force).values_list("version__template", flat=True))
    trays = Counter(Tray.objects.filter(in_service=True).values_list("template", flat=True))
    old = Pack.objects.live().filter(version__state=VersionState.SUPERSEDED)
    old_packs = Counter(old.values_list("version__template", flat=True))
    return [
        TemplateStanding(
            row,
            versions.get(row.pk, {}).get(VersionState.PUBLISHED),
            lines[row.pk],
            versions.get(row.pk, {}).get(VersionState.DRAFT),
            trays[row.pk],
            old_packs[row.pk],
        )
        for row in Template.objects.all()
    ]
