"""Everything that could serve a day's cases, and where it stands, in a number of queries that does not grow."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, cast

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils import timezone

from instruments.models import PartKind
from journal.findings import Finding, Severity
from lists.chain import Held
from lists.gathering import Gathered, Loose, Pool, gather
from lists.models import Issue
from lists.reads.pieces import TO_BE_HAD, PieceFound, at_place, found_elsewhere, found_pieces, local
from lists.stages import Stage, StageTimes, Whereabouts
from reprocessing.models import ExceptionalRelease, Indicator, LoadPack
from reprocessing.states import IndicatorKind, Result
from trays.companions import Sized
from trays.matching import Item, SizeOf
from trays.models import Content, Pack, TemplateVersion, Tray
from trays.reads import wanted_of
from trays.states import ENDED, PackState, VersionState

PACK_STAGES: dict[str, Stage] = {
    PackState.STERILE: Stage.STERILE,
    PackState.AWAITING_RELEASE: Stage.AWAITING_RELEASE,
    PackState.IN_STERILISER: Stage.IN_STERILISER,
    PackState.ASSEMBLED: Stage.ASSEMBLED,
    PackState.ISSUED: Stage.IN_USE,
    PackState.OPENED: Stage.IN_USE,
}
"""Packs in any other state cannot serve."""

USELESS_PACK: dict[str, str] = {
    PackState.QUARANTINED: "Have its quarantine decided; choose another.",
    PackState.RECALLED: "Send it back to the washer; choose another.",
    PackState.EXPIRED: "Send it back to the washer; choose another.",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What a day's cases ask for.

    Args:
        templates: keys of the templates whose trays are looked at.
        parts: keys of the parts whose single packs are looked at.
        trays: keys of the trays that are allocated, those first that are needed first.
        packs: keys of the packs that are allocated.
        unserved: keys of the templates that somebody needs and nothing is allocated for.
    """

    templates: Collection[int]
    parts: Collection[int]
    trays: Sequence[int]
    packs: Collection[int]
    unserved: Collection[int] = ()


def stock(asked: Asked, *, now: datetime, times: StageTimes) -> dict[str, Whereabouts]:
    """Where everything is that could serve, by code: trays under their own, single packs and pieces under theirs.

    Args:
        asked: what the cases ask for.
        now: the moment of asking, in the unit's time zone.
        times: how long the steps take [min].
    """
    trays = list(
        Tray.objects.filter(Q(pk__in=asked.trays) | Q(template__in=asked.templates, in_service=True))
        .select_related("template", "home")
        .order_by("code")
    )
    packs = list(_packs(asked, trays))
    live = {pack.tray_id: pack for pack in packs if pack.tray_id is not None and pack.state not in ENDED}
    inside = _inside(asked, packs)
    found = [_of_tray(tray, live[tray.pk], inside[live[tray.pk].pk], now) for tray in trays if tray.pk in live]
    empty = [tray for tray in trays if tray.pk not in live]
    place = {tray: order for order, tray in enumerate(dict.fromkeys(asked.trays))}  # of a tray of two cases the first
    empty.sort(key=lambda tray: (place.get(tray.pk, len(place)), tray.template_id not in asked.unserved, tray.code))
    pieces = _pieces(asked, empty)
    found += _gathered(empty, pieces, set(asked.trays), now=now, times=times)
    found += [_of_pack(pack, inside[pack.pk], now) for pack in packs if pack.tray_id is None or pack.state in ENDED]
    found += [_of_piece(piece, at) for piece in pieces if piece.part.pk in asked.parts and (at := piece.stage)]
    return {row.code: row for row in found}


def _packs(asked: Asked, trays: Iterable[Tray]) -> Iterable[Pack]:
    could = Q(tray__in=trays) | Q(tray=None, contents__piece__part__in=asked.parts)
    return cast(
        "Iterable[Pack]",
        Pack.objects.filter((could & ~Q(state__in=list(ENDED))) | Q(pk__in=asked.packs))
        .distinct()
        .select_related("place", "tray__template")
        .prefetch_related(
            "lacks",
            Prefetch("issues", Issue.objects.filter(ended=False).select_related("case"), to_attr="out"),
            Prefetch("load_packs", loaded_packs(), to_attr="loaded"),
        )
        .order_by("code"),
    )


@dataclass(frozen=True, slots=True)
class Inside(Sized):
    """A piece in a pack."""

    part_code: str
    part_name: str


def _inside(asked: Asked, packs: Iterable[Pack]) -> dict[int, list[Inside]]:
    """What is told of the contents of packs, by the pack's key: of a tray that nobody is to get its barrels only."""
    telling = Q(pack__tray=None) | Q(piece__part__kind=PartKind.BARREL)
    telling |= Q(pack__tray__in=asked.trays) | Q(pack__in=asked.packs)
    rows = Content.objects.filter(telling, pack__in=packs).order_by("pack", "position", "pk")
    found: dict[int, list[Inside]] = defaultdict(list)
    for pack, code, kind, part, name, *size in rows.values_list("pack", "piece__code", *_OF_A_PART):
        found[pack].append(Inside(code, kind, SizeOf(*size) if size[0] is not None else None, part, name))
    return found


_OF_A_PART = (
    *("piece__part__kind", "piece__part__code", "piece__part__name"),
    *("piece__part__size__series__code", "piece__part__size__order", "piece__part__size__label"),
)


def loaded_packs() -> QuerySet[LoadPack]:
    """Packs in open loads, each with whether its load waits for the biological result of an implant."""
    inside = LoadPack.objects.filter(load=OuterRef("load"), pack__holds_implant=True).exclude(barrier_intact=False)
    passed = Indicator.objects.filter(load=OuterRef("load"), kind=IndicatorKind.BIOLOGICAL, result=Result.PASSED)
    signed = ExceptionalRelease.objects.filter(load=OuterRef("load"))
    held = Exists(inside) & ~Exists(passed) & ~Exists(signed)
    return LoadPack.objects.filter(open=True).select_related("load").annotate(held=held)


def _of_tray(tray: Tray, pack: Pack, inside: Sequence[Inside], now: datetime) -> Whereabouts:
    serves = f"template:{tray.template.code}"
    return _packed(pack, inside, code=tray.code, name=tray.name, kind="tray", serves=serves, now=now)


def _of_pack(pack: Pack, inside: Sequence[Inside], now: datetime) -> Whereabouts:
    serves = f"part:{inside[0].part_code}" if pack.tray is None else f"template:{pack.tray.template.code}"
    return _packed(pack, inside, code=pack.code, name=pack.name, kind="pack", serves=serves, now=now)


def _packed(
    pack: Any, inside: Sequence[Inside], *, code: str, name: str, kind: str, serves: str, now: datetime
) -> Whereabouts:
    load = pack.loaded[0].load if pack.loaded else None
    case = pack.out[0].case if pack.out else None
    since = load and (load.ended_at or load.started_at)
    return Whereabouts(
        code=code,
        name=name,
        kind=kind,
        serves=serves,
        stage=PACK_STAGES.get(pack.state, Stage.RETURNED),
        where=_words(pack, load, case),
        since=local(since),
        free_at=local(case.ends_at) if case else None,
        use_by=local(pack.use_by),
        sizes=_barrels(inside),
        stops=tuple(_pack_stops(pack, name, now)),
        looks=tuple(
            Finding("incomplete", Severity.LOOK, pack.code, f"{name} {pack.code} lacks {lack}.", "Add it singly.")
            for lack in pack.lacks.all()
        ),
        pack=pack.code,
        load=load.code if load else "",
        held=bool(pack.loaded and pack.loaded[0].held),
        holds=tuple(map(_held, inside)),
    )


def _barrels(inside: Iterable[Sized]) -> frozenset[str]:
    """Labels of the barrels' sizes."""
    return frozenset(one.size.label for one in inside if one.kind == PartKind.BARREL and one.size)


def _held(one: Inside | Item) -> Held:
    size = f"{one.size.series} {one.size.label}" if one.size else ""
    return Held(one.code, one.part_code, one.part_name, one.kind, size)


def _words(pack: Any, load: Any, case: Any) -> str:
    if case is not None:
        return f"{pack.state}, with case {case.code}"
    if load is not None:
        held = ", which waits for its biological result" if pack.loaded[0].held else ""
        return f"{pack.state}, load {load.code}{held}"
    return at_place(pack.state, pack.place)


def _pack_stops(pack: Pack, name: str, now: datetime) -> Iterator[Finding]:
    if pack.state not in PACK_STAGES:
        remedy = USELESS_PACK.get(pack.state, "Choose another.")
        yield Finding(
            f"pack-{pack.state}",
            Severity.STOP,
            pack.code,
            f"{name}: pack {pack.code} is {at_place(pack.state, pack.place)}.",
            remedy,
        )
    elif pack.state == PackState.STERILE and pack.use_by < now:
        sentence = f"{name}: pack {pack.code} was to be used until {timezone.localtime(pack.use_by):%d-%b-%Y}."
        yield Finding("expired", Severity.STOP, pack.code, sentence, "Send it back to the washer; choose another.")


def _pieces(asked: Asked, empty: Iterable[Tray]) -> list[PieceFound]:
    """Pieces that lie on the trays that are not packed, or that are to be had and could fill them or be asked for."""
    templates = {tray.template_id for tray in empty}
    lists = TemplateVersion.objects.filter(template__in=templates, state=VersionState.PUBLISHED)
    wanted = (
        Q(part__in=asked.parts)
        | Q(part__in=lists.values("lines__part"))
        | Q(part__in=lists.filter(lines__substitutes__isnull=False).values("lines__substitutes__part"))
        | Q(part__size__series__in=lists.filter(series_rules__isnull=False).values("series_rules__series"))
    )
    return found_pieces(Q(placement__tray__in=empty) | (TO_BE_HAD & wanted))


def _of_piece(piece: PieceFound, stage: Stage) -> Whereabouts:
    return Whereabouts(
        code=piece.code,
        name=piece.part.name,
        kind="piece",
        serves=f"part:{piece.part_code}",
        stage=stage,
        where=piece.where,
        since=piece.since,
    )


def _gathered(
    trays: Sequence[Tray],
    pieces: Sequence[PieceFound],
    wanted_by_cases: Collection[int],
    *,
    now: datetime,
    times: StageTimes,
) -> Iterator[Whereabouts]:
    """Trays that are not packed, filled in turn from one pool of pieces."""
    versions = TemplateVersion.objects.filter(
        template__in={tray.template_id for tray in trays}, state=VersionState.PUBLISHED
    ).values_list("template", "pk")
    version_of = dict(versions)
    lists = wanted_of(version_of.values())
    waiting = frozenset(tray.code for tray in trays if tray.pk in wanted_by_cases)
    known = {piece.code: piece for piece in pieces}
    placed: dict[int, list[Item]] = defaultdict(list)
    for piece in pieces:
        if piece.tray is not None:
            placed[piece.tray].append(piece.item)
    pool = Pool(pieces, now=now, today=now.date(), times=times)
    gone: set[str] = set()
    filled: dict[int, Gathered] = {}
    for tray in trays:
        if tray.template_id in version_of:
            of = lists[version_of[tray.template_id]]
            free = partial(_is_free, known, gone, tray)
            filled[tray.pk] = gather(tray.code, tray.name, of, placed[tray.pk], pool, waiting=waiting, free=free)
            gone.update(row.code for row in filled[tray.pk].taken)
    lacking = {part for one in filled.values() for lack in one.lacking for part in lack.row.line.ranks}
    others = [piece for piece in found_elsewhere(lacking) if piece.code not in known]
    for tray in trays:
        if tray.pk not in filled:
            yield _unlisted(tray)
            continue
        suited = [piece for piece in others if _may_lie_on(piece, tray)]
        yield _of_gathered(tray, placed[tray.pk], filled[tray.pk], suited)


def _is_free(known: Mapping[str, PieceFound], gone: Collection[str], tray: Tray, row: Loose) -> bool:
    return row.code not in gone and _may_lie_on(known[row.code], tray)


def _may_lie_on(piece: PieceFound, tray: Tray) -> bool:
    """A closed set is filled with its own pieces only, an open one with none of a closed set's."""
    belongs = piece.closed_tray == tray.pk if piece.closed_tray is not None else not tray.closed
    return belongs and piece.tray != tray.pk


def _unlisted(tray: Tray) -> Whereabouts:
    sentence = f"{tray.name}: no version of its list is published, one must be."
    stop = Finding("no-version", Severity.STOP, tray.code, sentence, "Have its list published.")
    return _empty_tray(tray, Stage.INSPECTED, "not packed", stops=(stop,))


def _empty_tray(tray: Tray, stage: Stage, where: str, **more: Any) -> Whereabouts:
    serves = f"template:{tray.template.code}"
    return Whereabouts(tray.code, tray.name, "tray", serves, stage, where, closed=tray.closed, **more)


def _of_gathered(tray: Tray, placed: Sequence[Item], filled: Gathered, others: Sequence[Loose]) -> Whereabouts:
    lacks = [one.finding(tray.name, others) for one in filled.lacking]
    slowest = filled.slowest
    inside = [*placed, *(row.item for row in filled.taken)]
    where = "being assembled" if placed else "not packed"
    return _empty_tray(
        tray,
        slowest.stage if slowest and slowest.stage else Stage.INSPECTED,
        f"{where}, {slowest.code} is {slowest.where}" if slowest else where,
        since=slowest.since if slowest else None,
        sizes=_barrels(inside),
        stops=(*(one for one in lacks if one.severity is Severity.STOP), *filled.stops),
        looks=(*(one for one in lacks if one.severity is not Severity.STOP), *filled.looks),
        holds=tuple(map(_held, inside)),
    )
