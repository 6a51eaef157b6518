"""Questions to templates, trays and packs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime

from django.db.models import Prefetch, Q
from django.utils import timezone

from instruments.identity import Kind, decode, wrong_kind
from instruments.life import fit_to_pack
from instruments.models import Part, Piece, ProgrammeKind, Size, Validation
from instruments.reads import single_use_facts
from instruments.states import PieceState
from journal.findings import Finding, Refused, Severity, stops, unknown
from journal.reads import policy
from trays.matching import Alternative, CompanionRule, Item, SizeOf, TrayCount, Wanted, WantedLine, judge_tray
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


def tray_by_mark(text: str) -> Tray:
    """The tray whose code was scanned or typed.

    Raises:
        Refused: the text cannot be read, is the code of something else, or no tray has it.
    """
    decoded = decode(text)
    findings = (*stops(decoded.findings), *wrong_kind(decoded, Kind.TRAY))
    if findings:
        raise Refused(*findings)
    code = decoded.key.removeprefix("text:")
    tray = Tray.objects.select_related("template", "home").filter(code__iexact=code).first()
    if tray is None:
        raise Refused(unknown("tray", code))
    return tray


def wanted(version: TemplateVersion) -> Wanted:
    """What a version of a list asks for, with the weight policy in force."""
    return wanted_of([version.pk])[version.pk]


def wanted_of(versions: Collection[int]) -> dict[int, Wanted]:
    """What each of these versions asks for, by its key, in a number of queries that does not grow with them."""
    lines = TemplateLine.objects.select_related("part").prefetch_related("substitutes__part")
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


def _line(row: TemplateLine) -> WantedLine:
    return WantedLine(
        row.position,
        row.part.code,
        row.part.name,
        row.quantity,
        row.essential,
        tuple(Alternative(other.part.code, other.part.name, other.reason) for other in row.substitutes.all()),
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


def items(pieces: Collection[Piece]) -> tuple[Item, ...]:
    """Pieces as the rules of a tray see them; each must have been read with its part, size and series.

    Only sterilising programmes for wrapped goods count: a wash suits nearly everything, and a tray is
    never run unwrapped.
    """
    allowed: dict[int, set[str]] = {}
    rows = Validation.objects.filter(part__in={piece.part_id for piece in pieces}, programme__immediate=False)
    for part, programme in rows.exclude(programme__kind=ProgrammeKind.WASH).values_list("part", "programme__code"):
        allowed.setdefault(part, set()).add(programme)
    return tuple(_item(piece, allowed.get(piece.part_id, ())) for piece in pieces)


def _item(piece: Piece, programmes: Iterable[str]) -> Item:
    part: Part = piece.part
    return Item(
        code=piece.code,
        kind=part.kind,
        size=None if part.size is None else SizeOf(part.size.series.code, part.size.order, part.size.label),
        part_code=part.code,
        part_name=part.name,
        mass_g=None if part.mass_g is None else float(part.mass_g),
        programmes=frozenset(programmes),
        wear=piece.wear,
    )


def tray_count(tray: Tray, *, at: datetime, version: TemplateVersion | None = None) -> TrayCount:
    """What lies on a tray against its list, in a number of queries that does not grow with either.

    A missing line's remedy says where a piece that would serve it is now.

    Args:
        tray: the tray.
        at: the moment of judging; its day in the unit's time zone decides dates.
        version: the list to count against; the published one when not given.

    Raises:
        Refused: no version is published.
    """
    today = timezone.localdate(at)
    to_hold = wanted(version or published_version(tray.template))
    pieces = Piece.objects.filter(placement__tray=tray).select_related("part__size__series")
    count = judge_tray(to_hold, items(list(pieces)), today)
    short = {row.line.position: tuple(row.line.ranks) for row in count.rows if not row.done}
    if not short:
        return count
    free = whereabouts({code for codes in short.values() for code in codes}, tray=tray, today=today)
    findings = tuple(
        _with_place(finding, short[int(finding.numbers["line"])], free) if finding.slug == "missing-line" else finding
        for finding in count.findings
    )
    return replace(count, findings=findings)


def _with_place(finding: Finding, codes: Iterable[str], free: Mapping[str, Piece]) -> Finding:
    piece = next((free[code] for code in codes if code in free), None)
    if piece is None:
        where = "No inspected piece of it is free."
    elif piece.place is None:
        where = f"{piece.code} ({piece.part.name}) is inspected; its place is not recorded."
    else:
        where = f"{piece.code} ({piece.part.name}) is in {piece.place.name}."
    return replace(finding, remedy=f"{finding.remedy} {where}")


def whereabouts(part_codes: Collection[str], *, tray: Tray, today: date) -> dict[str, Piece]:
    """For each part the nearest inspected piece that may be laid on a tray, where there is one.

    Nearest: in the tray's own place first, then in any recorded place, then the rest; among equals the
    lowest code. A closed set is offered its own pieces only, an open one none that belongs to a closed set.

    Args:
        part_codes: parts that lack.
        tray: the tray that lacks them.
        today: the day in the unit's time zone.

    Returns:
        Pieces with part and place, by part code.
    """
    own = Q(closed_member__tray=tray) if tray.closed else Q(closed_member=None)
    rows = Piece.objects.filter(own, part__code__in=part_codes, state=PieceState.INSPECTED)
    near_first = sorted(
        rows.select_related("part", "place"),
        key=lambda piece: (piece.place_id is None, piece.place_id != tray.home_id, piece.code),
    )
    spent = {finding.subject for finding in single_use_facts(near_first, "pack")}
    found: dict[str, Piece] = {}
    for piece in near_first:
        if piece.code not in spent and not fit_to_pack(piece.wear, today):
            found.setdefault(piece.part.code, piece)
    return found
