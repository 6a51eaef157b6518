"""The chains of a day's cases, judged by the rules of fit on the catalogue's dimensions; the nearest that fits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Case as Choice
from django.db.models import F, IntegerField, Value, When, Window
from django.db.models.functions import RowNumber

from instruments.fit import Judgement
from instruments.joints import Adapter
from instruments.models import Part, PartKind, Piece
from instruments.reads import adapters_at_hand, fit_limits, judge_with_barrel, mounting_of
from instruments.rulings import Limits, judge
from instruments.states import PieceState
from journal.findings import Finding
from lists.chain import Break, Chained, Held, Question, judge_chain
from lists.reads.pieces import WHERE, open_wash, where_is

KINDS = (
    PartKind.BARREL, PartKind.BASE, PartKind.SEAL, PartKind.TELESCOPE, PartKind.FORCEPS, PartKind.SUCTION,
    PartKind.SHEATH, PartKind.LOADER, PartKind.PUSHER, PartKind.IMPLANT,
)  # fmt: skip
NEAREST = (
    PieceState.INSPECTED, PieceState.ON_TRAY, PieceState.CLEANED, PieceState.PACKED, PieceState.IN_WASHER,
    PieceState.RETURNED, PieceState.IN_USE, PieceState.IN_REPAIR, PieceState.QUARANTINED,
)  # fmt: skip
"""Whereabouts of a piece, the nearest to serve first; in any other it is not named."""


def chains_of(cases: Sequence[Chained]) -> dict[str, tuple[Finding, ...]]:
    """What stops the chain of each case, and what to see to, in a number of queries that does not grow.

    Args:
        cases: those that plan sizes or implants.
    """
    if not cases:
        return {}
    parts = {row.code: row for row in _catalogue()}
    catalogue = [Held("", row.code, row.name, row.kind, str(row.size or "")) for row in parts.values()]
    answer = _judge(parts, fit_limits(), adapters_at_hand())
    judged = {of.case: judge_chain(of, catalogue, answer) for of in cases}
    nearest = _nearest(one for breaks, _ in judged.values() for one in breaks)
    return {case: (*(one.finding(nearest) for one in breaks), *looks) for case, (breaks, looks) in judged.items()}


def _catalogue() -> Iterable[Part]:
    rows = Part.objects.with_dimensions().filter(kind__in=KINDS).prefetch_related("base__ports").order_by("code")
    return [*rows]


def _judge(parts: Mapping[str, Part], limits: Limits, adapters: Sequence[Adapter]) -> Callable[[Question], Judgement]:
    """The rules of fit on parts by their codes; no question is asked twice."""
    known: dict[Question, Judgement] = {}

    def answer(asked: Question) -> Judgement:
        if asked not in known:
            known[asked] = _answer(asked, parts, limits, adapters)
        return known[asked]

    return answer


def _answer(asked: Question, parts: Mapping[str, Part], limits: Limits, adapters: Sequence[Adapter]) -> Judgement:
    barrel, base = parts[asked.barrel], parts.get(asked.base)
    if asked.part:
        return judge_with_barrel(parts[asked.part], barrel, limits, base=base, adapters=adapters)
    more: dict[str, Any] = {
        name: parts.get(getattr(asked, name)) for name in ("sheath", "loader", "pusher", "implant")
    }
    shafts = [(parts[code], "") for code in asked.shafts]
    return judge(mounting_of(barrel, base=base, shafts=shafts, adapters=adapters, **more), limits)


def _nearest(breaks: Iterable[Break]) -> dict[str, str]:
    """For each part that would close a break, its nearest piece with where it is; the nearest of all first."""
    codes = {part for one in breaks for part in one.fits}
    if not codes:
        return {}
    rank = Choice(
        *(When(state=state, then=Value(place)) for place, state in enumerate(NEAREST)), output_field=IntegerField()
    )
    rows = (
        Piece.objects.of_unit()
        .filter(part__code__in=codes, state__in=NEAREST)
        .annotate(rank=rank, washed_in=open_wash())
        .annotate(turn=Window(RowNumber(), partition_by=F("part"), order_by=[F("rank"), F("code")]))
        .filter(turn=1)
        .order_by("rank", "part__code")
        .values_list("part__code", "part__name", "code", *WHERE)
    )
    return {part: f"{name} {code}, {where_is(*told)}" for part, name, code, *told in rows}
