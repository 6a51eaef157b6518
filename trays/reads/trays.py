"""Questions to trays and packs."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, datetime

from django.utils import timezone

from instruments.identity import Kind, decode, wrong_kind
from instruments.models import Piece, Worn, wear_of
from journal.findings import Finding, Refused, stops, unknown
from trays.matching import MISSING_LINE, Item, TrayCount, judge_tray
from trays.models import Pack, TemplateVersion, Tray
from trays.reads.nearest import Near, nearest, parts_of, with_companion, with_place
from trays.reads.substitutes import fit_on
from trays.reads.templates import published_version, size_of, sterilising_programmes, wanted


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


def live_pack(tray: Tray) -> Pack | None:
    """The pack that still carries a tray's pieces; None while the tray may be assembled."""
    return Pack.objects.live().filter(tray=tray).first()


def items(pieces: Collection[Piece]) -> tuple[Item, ...]:
    """Pieces as the rules of a tray see them; each must have been read with its part, size and series."""
    allowed = sterilising_programmes(piece.part_id for piece in pieces)
    return tuple(item_of(piece, allowed.get(piece.part_id, ())) for piece in pieces)


def item_of(piece: Worn, programmes: Iterable[str]) -> Item:
    """A piece as the rules of a tray see it, with the programmes validated for its part."""
    part = piece.part
    return Item(
        code=piece.code,
        kind=part.kind,
        size=size_of(part),
        part_code=part.code,
        part_name=part.name,
        mass_g=None if part.mass_g is None else float(part.mass_g),
        programmes=frozenset(programmes),
        wear=wear_of(piece),
        take_apart=part.take_apart,
    )


def tray_count(
    tray: Tray, *, at: datetime, version: TemplateVersion | None = None, pieces: Collection[Piece] | None = None
) -> TrayCount:
    """What lies on a tray against its list, in a number of queries that does not grow with either.

    What lacks, a line or a companion, says where the nearest piece is that would serve.

    Args:
        tray: the tray.
        at: the moment of judging; its day in the unit's time zone decides dates.
        version: the list to count against; the published one when not given.
        pieces: what lies on it, where that was read already with part, size and series.

    Raises:
        Refused: no version is published.
    """
    today = timezone.localdate(at)
    to_hold = wanted(version or published_version(tray.template))
    if pieces is None:
        pieces = list(Piece.objects.filter(placement__tray=tray).select_related("part__size__series"))
    count = judge_tray(to_hold, items(pieces), today)
    return replace(count, findings=_with_places(count, tray, today))


def _with_places(count: TrayCount, tray: Tray, today: date) -> tuple[Finding, ...]:
    """What lines and companions lack, each with where the nearest fitting piece is."""
    short = {row.line.position: row for row in count.rows if not row.done}
    parts = parts_of(count.findings)
    asked = [*(row.line.ranks for row in short.values()), *parts.values()]
    near = nearest({code for codes in asked for code in codes}, tray=tray, today=today)
    others = {other.part_code for row in short.values() for other in row.line.substitutes}
    fits = fit_on(tray, {code for code in others if near.get(code, Near()).free})

    def placed(finding: Finding) -> Finding:
        if finding.slug != MISSING_LINE:
            return with_companion(finding, parts, near)
        row = short[int(finding.numbers["line"])]
        reasons = {
            other.part_code: "; ".join(filter(None, [other.reason, fits.get(other.part_code)]))
            for other in row.line.substitutes
        }
        return with_place(finding, tuple(row.line.ranks), near, wanted=row.lacking, reasons=reasons)

    return tuple(map(placed, count.findings))


def load_of(pack: Pack) -> str:
    """Code of the steriliser load that a pack was last put into and not taken off again; empty when there is none."""
    last = pack.lines.filter(verb__in=["load", "take_off_load"]).last()
    return str(last.evidence.get("load", "")) if last is not None and last.verb == "load" else ""
