"""Finding things: the one that a mark stands for, else whatever a text is part of."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from config.context import address
from config.station.resolve import Thing, page_of, resolve
from instruments.identity import Kind
from instruments.models import Part, Piece
from journal.findings import Finding, Refused
from journal.models import Place
from lists.models import Case
from reprocessing.models import Load, Machine
from trays.models import Pack, Tray

MOST = 20
"""Hits of a kind."""
LEAST_TEXT = 2


class Hit(NamedTuple):
    """Something that a text was found in."""

    kind: str
    name: str
    code: str
    state: str
    address: str


def look_up(text: str) -> tuple[str | tuple[Hit, ...], Finding | None]:
    """Where a mark leads.

    Returns:
        The address of the one thing that the mark stands for; else what stands at the place of this code, or
        what the text is part of; and why the mark alone did not lead anywhere.
    """
    try:
        thing = resolve(text)
    except Refused as refusal:
        return tuple(_search(text.strip())), refusal.findings[0]
    return thing.address or tuple(_around(thing)), None


def _around(thing: Thing) -> Iterator[Hit]:
    if isinstance(thing.row, Place):
        yield from _packs(Pack.objects.filter(place=thing.row))
        yield from _pieces(Piece.objects.filter(place=thing.row))
    else:
        yield Hit(thing.kind.word, thing.name, thing.code, "", "")


def _search(text: str) -> Iterator[Hit]:
    if len(text) < LEAST_TEXT or not text.isprintable():
        return
    named, coded = Q(name__icontains=text), Q(code__icontains=text)
    yield from _trays(Tray.objects.filter(named | coded))
    yield from _packs(Pack.objects.filter(named | coded).order_by("-id"))
    marked = (
        Q(serial__iexact=text) | Q(lot__iexact=text) | Q(marks__text__icontains=text) | Q(part__name__icontains=text)
    )
    yield from _pieces(Piece.objects.filter(coded | marked).distinct())
    for part in Part.objects.filter(named | coded)[:MOST]:
        yield Hit("part", part.name, part.code, "", address("part", part.code))
    for load in Load.objects.filter(coded | Q(cycle_number__iexact=text)).select_related("machine")[:MOST]:
        yield Hit("load", str(load.machine), load.code, load.state, page_of(Kind.LOAD, load.code))
    for machine in Machine.objects.filter(named | coded)[:MOST]:
        yield Hit("machine", machine.name, machine.code, machine.state, page_of(Kind.MACHINE, machine.code))
    for case in Case.objects.filter(coded | Q(reference__iexact=text)).select_related("procedure")[:MOST]:
        yield Hit("case", str(case.procedure), case.code, case.state, page_of(Kind.CASE, case.code))


def _trays(rows: QuerySet[Tray]) -> Iterator[Hit]:
    for tray in rows[:MOST]:
        yield Hit("tray", tray.name, tray.code, "", page_of(Kind.TRAY, tray.code))


def _packs(rows: Any) -> Iterator[Hit]:
    for pack in rows[:MOST]:
        yield Hit("pack", pack.name, pack.code, pack.state, page_of(Kind.PACK, pack.code))


def _pieces(rows: Any) -> Iterator[Hit]:
    for piece in rows.select_related("part")[:MOST]:
        yield Hit("piece", piece.part.name, piece.code, piece.state, page_of(Kind.PIECE, piece.code))
