"""The trays that are not packed, and which of them can be completed from the shelf and from one another."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.utils import timezone

from instruments.life import fit_to_pack
from instruments.models import Part, PartKind, Piece
from instruments.reads import single_use_facts
from instruments.states import PieceState
from trays.filling import BenchTray, Filling, OnHand, fill
from trays.matching import Item, Wanted
from trays.models import Pack, TemplateVersion, Tray
from trays.reads.templates import wanted_of
from trays.reads.trays import items
from trays.states import VersionState

LONGEST_S = 2.0
"""So long each measure is sought: a unit of some hundred trays takes a tenth of it, and a page cannot wait."""


def filling(needed: Mapping[str, int], *, first: Sequence[str] = (), at: datetime) -> Filling:
    """Which needed trays can be completed, and with which pieces; the number of queries does not grow with them.

    The shelf is what `nearest` calls free: inspected pieces whose life, dates and tests allow packing, none for
    single use that was opened, those of a closed set for their own tray only.

    Args:
        needed: how many complete trays are needed of each template, by its code, beyond those that are packed.
        first: codes of the trays that come before others, the most wanted first.
        at: the moment of asking.
    """
    today = timezone.localdate(at)
    rank = {code: place for place, code in enumerate(first)}
    either = Tray.objects.filter(Q(template__code__in=needed) | Q(placements__isnull=False)).distinct()
    open_trays = either.exclude(pk__in=Pack.objects.live().filter(tray__isnull=False).values("tray"))
    trays = sorted(
        open_trays.select_related("template", "home"), key=lambda row: (rank.get(row.code, len(rank)), row.code)
    )
    laid: dict[int, list[tuple[Item, int | None]]] = {}
    rows = Piece.objects.filter(placement__tray__in=trays)
    on_trays = list(rows.select_related("part__size__series", "placement", "closed_member").order_by("code"))
    for piece, item in zip(on_trays, items(on_trays), strict=True):
        member = getattr(piece, "closed_member", None)
        laid.setdefault(piece.placement.tray_id, []).append((item, member.tray_id if member else None))
    lists = _lists(trays)
    parts = _parts(lists.values())
    bench = [_bench_tray(tray, lists.get(tray.template_id), laid.get(tray.pk, ())) for tray in trays]
    codes = {code for row in lists.values() for line in row.lines for code in line.ranks} | set(parts)
    return fill(bench, _shelf(codes, today), needed, parts, today=today, longest_s=LONGEST_S)


def _lists(trays: Iterable[Tray]) -> dict[int, Wanted]:
    """What each template asks for that has a published list, by its key."""
    templates = {tray.template_id for tray in trays}
    published = TemplateVersion.objects.filter(template__in=templates, state=VersionState.PUBLISHED)
    version_of = dict(published.values_list("template", "pk"))
    lists = wanted_of(version_of.values())
    return {template: lists[version] for template, version in version_of.items()}


def _parts(lists: Iterable[Wanted]) -> dict[str, Item]:
    """Every part that a line wants, and every sheath and seal of a series with a rule, as a piece with no history."""
    lists = list(lists)
    lines = {line.part_code for row in lists for line in row.lines}
    series = {rule.series for row in lists for rule in row.rules}
    companions = Q(kind__in=[PartKind.SHEATH, PartKind.SEAL], size__series__code__in=series)
    rows = Part.objects.filter(Q(code__in=lines) | companions).select_related("size__series").order_by("code")
    # Maker-sterile, so that no test since a last use is asked of what was never used; nothing of it is stored.
    return {item.part_code: item for item in items([Piece(code="", part=part, maker_sterile=True) for part in rows])}


def _bench_tray(tray: Tray, wanted: Wanted | None, laid: Iterable[tuple[Item, int | None]]) -> BenchTray:
    """A tray with what lies on it, each piece with the key of the closed tray that it belongs to."""
    own = tray.pk if tray.closed else None
    return BenchTray(
        code=tray.code,
        name=tray.name,
        template=tray.template.code,
        wanted=wanted,
        items=tuple(item for item, _ in laid),
        home=tray.home.name if tray.home else "",
        closed=tray.closed,
        in_service=tray.in_service,
        foreign=frozenset(item.code for item, belongs in laid if belongs != own),
    )


def _shelf(part_codes: Collection[str], today: date) -> list[OnHand]:
    rows = Piece.objects.filter(part__code__in=part_codes, state=PieceState.INSPECTED)
    pieces = list(rows.select_related("part__size__series", "place", "closed_member__tray").order_by("code"))
    spent = {finding.subject for finding in single_use_facts(pieces, "pack")}
    found = []
    for piece, item in zip(pieces, items(pieces), strict=True):
        if piece.code in spent or fit_to_pack(piece.wear, today):
            continue
        member = getattr(piece, "closed_member", None)
        place = piece.place.name if piece.place else ""
        found.append(OnHand(item, place, member.tray.code if member else ""))
    return found


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A piece of the unit, and where it is in words.

    Args:
        code: the piece's code.
        words: its state, its place, and the closed set that it belongs to.
        set_of: code of that set; empty = it belongs to none.
        free: whether it lies on the shelf and may be packed.
    """

    code: str
    words: str
    set_of: str
    free: bool


def elsewhere(part_codes: Collection[str], today: date) -> dict[str, list[Elsewhere]]:
    """The unit's pieces of these parts, by part code; those first that are in no pack."""
    rows = Piece.objects.of_unit().filter(part__code__in=part_codes)
    rows = rows.select_related("part", "place", "placement__tray", "carried__pack", "closed_member__tray")
    found: dict[str, list[Elsewhere]] = {}
    for piece in sorted(rows, key=lambda piece: (piece.state == PieceState.PACKED, piece.code)):
        member = getattr(piece, "closed_member", None)
        against = fit_to_pack(piece.wear, today) if piece.state == PieceState.INSPECTED else ()
        words = f"{piece.code} is {_where(piece)}{f', of the closed set {member.tray.name}' if member else ''}"
        told = f"{words} ({against[0].sentence})" if against else words
        is_free = piece.state == PieceState.INSPECTED and not against
        found.setdefault(piece.part.code, []).append(
            Elsewhere(piece.code, told, member.tray.code if member else "", is_free)
        )
    return found


def _where(piece: Piece) -> str:
    placement, carried = getattr(piece, "placement", None), getattr(piece, "carried", None)
    if placement is not None:
        return f"on {placement.tray.name}"
    if carried is not None:
        return f"{piece.state}, pack {carried.pack.code}"
    return f"{piece.state} in {piece.place.name}" if piece.place else str(piece.state)
