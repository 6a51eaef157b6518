"""Where what a tray lacks is now: inspected pieces that are free, or else the next one in the loop."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter

from django.db.models import Max, Q, QuerySet

from instruments.life import Wear, fit_to_pack
from instruments.models import Part, Piece, PieceLine
from instruments.reads import single_use_facts
from instruments.states import PieceState
from journal.findings import Finding
from trays.models import Tray

ON_ITS_WAY = (
    PieceState.CLEANED,
    PieceState.IN_WASHER,
    PieceState.RETURNED,
    PieceState.ON_TRAY,
    PieceState.PACKED,
    PieceState.IN_USE,
    PieceState.ON_LOAN,
    PieceState.IN_REPAIR,
)
"""Where a piece may still come from when none is free, the nearest first; our proposal."""

_WAITS = {PieceState.CLEANED: "waits for inspection", PieceState.RETURNED: "waits for the washer"}
Companion = tuple[str, str, str]  # kind of part, code of its series, label of its size


@dataclass(frozen=True, slots=True)
class Near:
    """Pieces of one part that a tray could have, with what a person needs to fetch them.

    Args:
        free: inspected pieces that may be laid now, the nearest first.
        coming: the next piece in the loop and where it is; empty while one is free.
    """

    free: tuple[Piece, ...] = ()
    coming: str = ""


def parts_of(findings: Iterable[Finding]) -> dict[Companion, list[str]]:
    """Codes of the parts that would put these findings of companions right, in one query."""
    asked = {_companion(finding) for finding in findings} - {None}
    if not asked:
        return {}
    kinds, series, labels = (sorted({one[place] for one in asked if one}) for place in range(3))
    rows = Part.objects.filter(kind__in=kinds, size__series__code__in=series, size__label__in=labels)
    found: dict[Companion, list[str]] = {}
    for kind, of, label, code in rows.values_list("kind", "size__series__code", "size__label", "code"):
        found.setdefault((kind, of, label), []).append(code)
    return found


def _companion(finding: Finding) -> Companion | None:
    told = finding.numbers
    return (str(told["kind"]), str(told["series"]), str(told["size"])) if "series" in told else None


def with_companion(finding: Finding, parts: Mapping[Companion, Sequence[str]], near: Mapping[str, Near]) -> Finding:
    """A finding about a companion, its remedy with where the nearest fitting piece is."""
    asked = _companion(finding)
    return finding if asked is None else with_place(finding, parts.get(asked, ()), near)


def with_place(
    finding: Finding,
    codes: Sequence[str],
    near: Mapping[str, Near],
    *,
    wanted: int = 1,
    reasons: Mapping[str, str] | None = None,
) -> Finding:
    """A finding that something lacks, its remedy with where the nearest pieces are.

    Args:
        finding: what lacks.
        codes: parts that would serve, the best first; what stands behind the first is named with its part.
        near: from `nearest`.
        wanted: how many pieces lack.
        reasons: why a part may stand in, by its code.
    """
    of = [near.get(code, Near()) for code in codes]
    free = [piece for one in of for piece in one.free][:wanted]
    said = list(_free(free, reasons or {}))
    if len(free) < wanted:
        coming = next((one.coming for one in of if one.coming), "")
        none = "No other is free" if free else "None is free"
        said.append(f"{none}: {coming}." if coming else f"{none}.")
    where = " ".join(said)
    return replace(finding, remedy=f"{finding.remedy} {where}", numbers={**finding.numbers, "where": where})


def _free(pieces: Iterable[Piece], reasons: Mapping[str, str]) -> Iterator[str]:
    """Where free pieces are, those of one part in one place together; what stands in is named with its reason."""
    together: dict[tuple[str, int | None], list[Piece]] = {}
    for piece in pieces:
        together.setdefault((piece.part.code, piece.place_id), []).append(piece)
    for (part, _), found in together.items():
        first, one = found[0], len(found) == 1
        codes = " and ".join(piece.code for piece in found)
        name = f"Instead {codes} ({first.part.name}, {reasons[part]})" if part in reasons else codes
        verb = "is" if one else "are"
        yield (
            f"{name} {verb} in {first.place.name}." if first.place else f"{name} {verb} inspected, place not recorded."
        )


def nearest(part_codes: Collection[str], *, tray: Tray, today: date) -> dict[str, Near]:
    """For each part the pieces that may be laid on a tray now, or the next one in the loop.

    Free pieces stand in the tray's own place first, then in any recorded place, then the rest; among equals
    the lowest code comes first. A closed set is offered its own pieces only, an open one none that belongs
    to a closed set. What may not be packed again (its life, its service, single use) is not offered. The
    number of queries does not grow with the parts.

    Args:
        part_codes: parts that lack.
        tray: the tray that lacks them.
        today: the day in the unit's time zone.

    Returns:
        By part code; a part of which there is nothing to be had is left out.
    """
    if not part_codes:
        return {}
    pieces = _may_lie_on(tray).filter(part__code__in=part_codes)
    inspected = sorted(
        pieces.filter(state=PieceState.INSPECTED).select_related("part", "place"),
        key=lambda piece: (piece.place_id is None, piece.place_id != tray.home_id, piece.code),
    )
    free: dict[str, list[Piece]] = {}
    for piece in _usable(inspected, today, attrgetter("wear")):
        free.setdefault(piece.part.code, []).append(piece)
    at_hand = {code: Near(tuple(found)) for code, found in free.items()}
    others = set(part_codes) - free.keys()
    if not others:
        return at_hand
    return at_hand | _coming(_may_lie_on(tray).filter(part__code__in=others).exclude(placement__tray=tray), today)


def _may_lie_on(tray: Tray) -> QuerySet[Piece]:
    own = Q(closed_member__tray=tray) if tray.closed else Q(closed_member=None)
    found: QuerySet[Piece] = Piece.objects.filter(own)
    return found


def _usable(pieces: Sequence[Piece], today: date, wear: Callable[[Piece], Wear]) -> list[Piece]:
    """Those that may be packed, by this view of their wear."""
    spent = {finding.subject for finding in single_use_facts(pieces, "pack")}
    return [piece for piece in pieces if piece.code not in spent and not fit_to_pack(wear(piece), today)]


def _before_its_tests(piece: Piece) -> Wear:
    """What has yet to be inspected has yet to be tested, too."""
    return replace(
        piece.wear, needs_function_test=False, function_ok=None, needs_insulation_test=False, insulation_ok=None
    )


def _coming(pieces: QuerySet[Piece], today: date) -> dict[str, Near]:
    rows = pieces.filter(state__in=ON_ITS_WAY).select_related("part", "placement__tray", "carried__pack__tray")
    near_first = sorted(rows, key=lambda piece: (ON_ITS_WAY.index(PieceState(piece.state)), piece.code))
    first: dict[str, Piece] = {}
    for piece in _usable(near_first, today, _before_its_tests):
        first.setdefault(piece.part.code, piece)
    washing = [piece.pk for piece in first.values() if piece.state == PieceState.IN_WASHER]
    lines = PieceLine.objects.filter(piece__in=washing, verb="put_in_washer").order_by()
    latest = lines.values("piece").annotate(last=Max("pk")).values("last")
    loads = {line.piece_id: str(line.evidence.get("load", "")) for line in lines.filter(pk__in=latest)}
    return {code: Near(coming=_where(piece, loads.get(piece.pk, ""))) for code, piece in first.items()}


def _where(piece: Piece, load: str) -> str:
    """Where a piece is that is not free, as a clause."""
    if piece.state == PieceState.IN_WASHER and load:
        return f"{piece.code} is in a washer, load {load}"
    if piece.state == PieceState.ON_TRAY:
        return f"{piece.code} lies on {piece.placement.tray.name}"
    if piece.state == PieceState.PACKED:
        pack = piece.carried.pack
        of = f" of {pack.tray.name}" if pack.tray else ""
        return f"{piece.code} is in pack {pack.code}{of}, {pack.state}"
    waits = _WAITS.get(PieceState(piece.state), "")
    return f"{piece.code} is {piece.state}" + (f", {waits}" if waits else "")
