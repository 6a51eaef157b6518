"""The bench of a tray, and where every tray stands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.utils import timezone

from instruments.models import Part, Piece
from journal.findings import Finding, Severity
from journal.models import Person
from trays.matching import MISSING_LINE, Item, TrayCount, WantedLine, judge_tray
from trays.models import Pack, Placement, TemplateVersion, Tray
from trays.reads.templates import published_version, wanted_of
from trays.reads.trays import items, tray_count
from trays.states import VersionState
from trays.waiting import Waiting, sort_out

_AT_THE_BENCH = ("code", "insulated", "size__label", "size__band", "size__series__name")
"""What the bench shows of a wanted part; whole rows would cost it time with every scan."""
AT_THE_SAME_TIME = timedelta(minutes=15)
"""Who laid a piece so shortly ago may still be at the tray; our proposal."""


@dataclass(frozen=True, slots=True)
class BenchRow:
    """A line of the list as the bench shows it.

    Args:
        line: what the list wants.
        lacking: how many pieces lack.
        part: the part wanted; its band and tests are worth knowing at the bench.
        laid: the pieces that serve the line, with who laid them.
        where: where pieces for what lacks are now; empty when nothing lacks.
        needed: whether the tray may not go out without what lacks.
    """

    line: WantedLine
    lacking: int
    part: Part
    laid: tuple[Placement, ...]
    where: str
    needed: bool


@dataclass(frozen=True, slots=True)
class Bench:
    """A tray during assembly.

    Args:
        version: the list in force.
        count: the judgement.
        rows: the lines in packing order.
        laid: everything on the tray, the latest first.
        waiting: what it still waits for, and what is wrong.
    """

    version: TemplateVersion
    count: TrayCount
    rows: tuple[BenchRow, ...]
    laid: tuple[Placement, ...]
    waiting: Waiting

    @property
    def still_open(self) -> tuple[BenchRow, ...]:
        """Lines that lack something."""
        return tuple(row for row in self.rows if row.lacking)

    @property
    def by_size(self) -> dict[str, list[str]]:
        """What is still to be laid, in a word each: by series and size, and under an empty name what has none."""
        groups: dict[str, list[str]] = {}
        for row in self.still_open:
            if row.needed:
                size = row.part.size
                name = row.line.part_name if size is None else row.line.kind
                group = "" if size is None else f"{size.series.name} {size.label}"
                groups.setdefault(group, []).append(_times(row.lacking, name))
        for one in self.waiting.companions:
            groups.setdefault(one.size, []).append(_times(one.quantity, one.kind))
        return dict(sorted(groups.items(), key=lambda group: not group[0]))

    @property
    def may_lack(self) -> tuple[BenchRow, ...]:
        """Open lines without which the tray may go out, for a stated reason."""
        return tuple(row for row in self.still_open if not row.needed)

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


@dataclass(frozen=True, slots=True)
class Change:
    """A line before and after its list was changed; None where it is new or gone."""

    before: WantedLine | None
    after: WantedLine | None


def _times(quantity: int, name: str) -> str:
    return name if quantity == 1 else f"{quantity} × {name}"


def bench_of(tray: Tray, *, at: datetime) -> Bench:
    """What lies on a tray line by line, in a number of queries that does not grow with the list.

    Raises:
        Refused: no version of its list is published.
    """
    version = published_version(tray.template)
    laid = tuple(Placement.objects.filter(tray=tray).select_related("piece__part__size__series", "by"))
    count = tray_count(tray, at=at, version=version, pieces=[placement.piece for placement in laid])
    codes = [row.line.part_code for row in count.rows]
    listed = Part.objects.filter(code__in=codes).select_related("size__series").only(*_AT_THE_BENCH)
    parts = {part.code: part for part in listed}
    where = {
        finding.numbers["line"]: str(finding.numbers["where"])
        for finding in count.findings
        if finding.slug == MISSING_LINE
    }
    serving: dict[int | None, list[Placement]] = {}
    for one in laid:
        serving.setdefault(count.positions.get(one.piece.code), []).append(one)
    waiting = sort_out(count)
    rows = tuple(
        BenchRow(
            row.line,
            row.lacking,
            parts[row.line.part_code],
            tuple(serving.get(row.line.position, ())),
            where.get(row.line.position, ""),
            row.line.position in waiting.needed,
        )
        for row in count.rows
    )
    return Bench(version, count, rows, laid, waiting)


def changed_rows(tray: Tray, current: TemplateVersion, worked_from: int) -> tuple[Change, ...]:
    """Lines that differ between the version a person began to work from and the one in force, side by side."""
    older = tray.template.versions.filter(number=worked_from).first()
    if older is None or older.pk == current.pk:
        return ()
    lists = wanted_of([older.pk, current.pk])
    before, after = ({line.part_code: line for line in lists[key.pk].lines} for key in (older, current))
    pairs = [(before.get(code), after.get(code)) for code in {**after, **before}]
    return tuple(Change(was, now) for was, now in pairs if _anywhere(was) != _anywhere(now))


def _anywhere(line: WantedLine | None) -> WantedLine | None:
    """A line whatever its place on the list."""
    return None if line is None else replace(line, position=0)


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
    live = Pack.objects.live().filter(tray__in=trays).select_related("place", "version")
    packs = {pack.tray_id: pack for pack in live}
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
