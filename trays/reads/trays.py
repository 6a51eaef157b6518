"""Questions to trays and packs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from instruments.identity import Kind, decode, wrong_kind
from instruments.life import fit_to_pack
from instruments.models import Part, Piece, ProgrammeKind, Validation
from instruments.reads import single_use_facts
from instruments.states import PieceState
from journal.findings import Finding, Refused, Severity, stops, unknown
from journal.models import Person
from trays.matching import (
    MISSING_LINE,
    Item,
    SizeOf,
    TrayCount,
    WantedLine,
    judge_tray,
)
from trays.models import Pack, Placement, TemplateVersion, Tray
from trays.reads.templates import published_version, wanted, wanted_of
from trays.states import VersionState

AT_THE_SAME_TIME = timedelta(minutes=15)
"""Who laid a piece so shortly ago may still be at the tray; our proposal."""


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
        _with_place(finding, short[int(finding.numbers["line"])], free) if finding.slug == MISSING_LINE else finding
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


@dataclass(frozen=True, slots=True)
class BenchRow:
    """A line of the list as the bench shows it.

    Args:
        line: what the list wants.
        lacking: how many pieces lack.
        part: the part wanted; its band and tests are worth knowing at the bench.
        laid: the pieces that serve the line, with who laid them.
        remedy: what to do about what lacks, and where a piece is; empty when nothing lacks.
    """

    line: WantedLine
    lacking: int
    part: Part
    laid: tuple[Placement, ...]
    remedy: str


@dataclass(frozen=True, slots=True)
class Bench:
    """A tray during assembly.

    Args:
        version: the list in force.
        count: the judgement.
        rows: the lines in packing order.
        laid: everything on the tray, the latest first.
    """

    version: TemplateVersion
    count: TrayCount
    rows: tuple[BenchRow, ...]
    laid: tuple[Placement, ...]

    @property
    def still_open(self) -> tuple[BenchRow, ...]:
        """Lines that lack something."""
        return tuple(row for row in self.rows if row.lacking)

    @property
    def filled(self) -> tuple[BenchRow, ...]:
        """Lines that lack nothing."""
        return tuple(row for row in self.rows if not row.lacking)

    @property
    def beside(self) -> tuple[Placement, ...]:
        """What serves no line."""
        return tuple(row for row in self.laid if row.piece.code not in self.count.positions)

    @property
    def remarks(self) -> tuple[Finding, ...]:
        """What is worth a look or a note, save the lines that lack something: those are in the rows."""
        found = [finding for finding in self.count.findings if finding.slug != MISSING_LINE]
        return tuple(
            finding for weight in (Severity.LOOK, Severity.NOTE) for finding in found if finding.severity is weight
        )

    def by_another(self, person: Person, at: datetime) -> Placement | None:
        """The latest piece that somebody else has laid within the last minutes: two people are at one tray."""
        others = (row for row in self.laid if row.by_id != person.pk and at - row.at <= AT_THE_SAME_TIME)
        return next(others, None)


def bench_of(tray: Tray, *, at: datetime) -> Bench:
    """What lies on a tray line by line, in a number of queries that does not grow with the list.

    Raises:
        Refused: no version of its list is published.
    """
    version = published_version(tray.template)
    count = tray_count(tray, at=at, version=version)
    laid = tuple(Placement.objects.filter(tray=tray).select_related("piece__part", "by"))
    codes = [row.line.part_code for row in count.rows]
    parts = {part.code: part for part in Part.objects.filter(code__in=codes).select_related("size")}
    remedies = {finding.numbers["line"]: finding.remedy for finding in count.findings if finding.slug == MISSING_LINE}
    rows = tuple(
        BenchRow(
            row.line,
            row.lacking,
            parts[row.line.part_code],
            tuple(one for one in laid if count.positions.get(one.piece.code) == row.line.position),
            remedies.get(row.line.position, ""),
        )
        for row in count.rows
    )
    return Bench(version, count, rows, laid)


@dataclass(frozen=True, slots=True)
class TrayStanding:
    """Where a tray stands: in a live pack, on the bench, or empty.

    Args:
        tray: the tray.
        pack: its live pack.
        count: what lies on it against its list; None when packed, empty or without a published list.
        laid: how many pieces lie on it.
    """

    tray: Tray
    pack: Pack | None
    count: TrayCount | None
    laid: int

    @property
    def words(self) -> str:
        """How far it is filled: “14 of 18 lines”."""
        rows = self.count.rows if self.count else ()
        return f"{sum(row.done for row in rows)} of {len(rows)} lines"


def tray_standings(*, at: datetime) -> list[TrayStanding]:
    """Every tray with where it stands, those on the bench first and the packed ones last, by name.

    The number of queries does not grow with the trays.
    """
    trays = list(Tray.objects.select_related("template", "home").order_by("name"))
    packs = {pack.tray_id: pack for pack in Pack.objects.live().filter(tray__in=trays).select_related("place")}
    pieces: dict[int, list[Item]] = {}
    on_trays = list(Piece.objects.filter(placement__isnull=False).select_related("part__size__series", "placement"))
    for piece, item in zip(on_trays, items(on_trays), strict=True):
        pieces.setdefault(piece.placement.tray_id, []).append(item)
    begun = {tray.template_id for tray in trays if tray.pk in pieces}
    published = TemplateVersion.objects.filter(template__in=begun, state=VersionState.PUBLISHED)
    version_of = dict(published.values_list("template", "pk"))
    lists = wanted_of(version_of.values())
    today = timezone.localdate(at)
    standings = []
    for tray in trays:
        laid = pieces.get(tray.pk, [])
        to_hold = lists.get(version_of.get(tray.template_id, 0)) if laid else None
        count = judge_tray(to_hold, laid, today) if to_hold else None
        standings.append(TrayStanding(tray, packs.get(tray.pk), count, len(laid)))
    return sorted(standings, key=lambda row: (row.pack is not None, not row.laid))


def load_of(pack: Pack) -> str:
    """Code of the steriliser load that a pack was last put into and not taken off again; empty when there is none."""
    last = pack.lines.filter(verb__in=["load", "take_off_load"]).last()
    return str(last.evidence.get("load", "")) if last is not None and last.verb == "load" else ""
