"""Everything that could serve a day's cases, and where it stands, in a number of queries that does not grow."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, cast

from django.db.models import Exists, F, Max, OuterRef, Prefetch, Q, QuerySet, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from instruments.models import PartKind, Piece
from instruments.states import PieceState
from journal.findings import Finding, Severity
from lists.chain import Held
from lists.gathering import PLACES_NAMED, Gathered, Loose, Pool, gather
from lists.models import Issue
from lists.stages import Stage, StageTimes, Whereabouts
from reprocessing.models import ExceptionalRelease, Indicator, LoadPack, LoadPiece
from reprocessing.states import IndicatorKind, Result
from trays.matching import Item
from trays.models import Content, Pack, TemplateVersion, Tray
from trays.reads import items, wanted_of
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

PIECE_STAGES: dict[str, Stage] = {
    PieceState.INSPECTED: Stage.INSPECTED,
    PieceState.CLEANED: Stage.CLEANED,
    PieceState.IN_WASHER: Stage.IN_WASHER,
    PieceState.RETURNED: Stage.RETURNED,
    PieceState.IN_USE: Stage.IN_USE,
}
"""Pieces in any other state are not to be had, nor is one that a live pack carries."""

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


def local(moment: datetime | None) -> datetime | None:
    """A moment in the unit's time zone."""
    return None if moment is None else timezone.localtime(moment)


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
    found = [_of_tray(tray, live[tray.pk], now) for tray in trays if tray.pk in live]
    empty = [tray for tray in trays if tray.pk not in live]
    place = {tray: order for order, tray in enumerate(dict.fromkeys(asked.trays))}  # of a tray of two cases the first
    empty.sort(key=lambda tray: (place.get(tray.pk, len(place)), tray.template_id not in asked.unserved, tray.code))
    pieces = _pieces(asked, empty)
    found += _gathered(empty, pieces, set(asked.trays), now=now, times=times)
    found += [_of_pack(pack, now) for pack in packs if pack.tray_id is None or pack.state in ENDED]
    found += [_of_piece(piece) for piece in pieces if piece.part_id in asked.parts and _stage(piece)]
    return {row.code: row for row in found}


def _packs(asked: Asked, trays: Iterable[Tray]) -> Iterable[Pack]:
    could = Q(tray__in=trays) | Q(tray=None, contents__piece__part__in=asked.parts)
    telling = Q(pack__tray=None) | Q(piece__part__kind=PartKind.BARREL)
    telling |= Q(pack__tray__in=asked.trays) | Q(pack__in=asked.packs)
    return cast(
        "Iterable[Pack]",
        Pack.objects.filter((could & ~Q(state__in=list(ENDED))) | Q(pk__in=asked.packs))
        .distinct()
        .select_related("place", "tray__template")
        .prefetch_related(
            "lacks",
            Prefetch("issues", Issue.objects.filter(ended=False).select_related("case"), to_attr="out"),
            Prefetch("load_packs", loaded_packs(), to_attr="loaded"),
            Prefetch(
                "contents", Content.objects.filter(telling).select_related("piece__part__size__series"), to_attr="told"
            ),
        )
        .order_by("code"),
    )


def loaded_packs() -> QuerySet[LoadPack]:
    """Packs in open loads, each with whether its load waits for the biological result of an implant."""
    inside = LoadPack.objects.filter(load=OuterRef("load"), pack__holds_implant=True).exclude(barrier_intact=False)
    passed = Indicator.objects.filter(load=OuterRef("load"), kind=IndicatorKind.BIOLOGICAL, result=Result.PASSED)
    signed = ExceptionalRelease.objects.filter(load=OuterRef("load"))
    held = Exists(inside) & ~Exists(passed) & ~Exists(signed)
    return LoadPack.objects.filter(open=True).select_related("load").annotate(held=held)


def _of_tray(tray: Tray, pack: Pack, now: datetime) -> Whereabouts:
    return _packed(pack, code=tray.code, name=tray.name, kind="tray", serves=f"template:{tray.template.code}", now=now)


def _of_pack(pack: Any, now: datetime) -> Whereabouts:
    serves = f"part:{pack.told[0].part_code}" if pack.tray is None else f"template:{pack.tray.template.code}"
    return _packed(pack, code=pack.code, name=pack.name, kind="pack", serves=serves, now=now)


def _packed(pack: Any, *, code: str, name: str, kind: str, serves: str, now: datetime) -> Whereabouts:
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
        sizes=frozenset(row.piece.part.size.label for row in pack.told if _is_sized_barrel(row)),
        stops=tuple(_pack_stops(pack, name, now)),
        looks=tuple(
            Finding("incomplete", Severity.LOOK, pack.code, f"{name} {pack.code} lacks {lack}.", "Add it singly.")
            for lack in pack.lacks.all()
        ),
        pack=pack.code,
        load=load.code if load else "",
        held=bool(pack.loaded and pack.loaded[0].held),
        holds=tuple(
            Held(row.piece.code, part.code, part.name, part.kind, str(part.size or ""))
            for row in pack.told
            for part in (row.piece.part,)
        ),
    )


def _is_sized_barrel(row: Content) -> bool:
    return row.piece.part.kind == PartKind.BARREL and row.piece.part.size is not None


def _words(pack: Any, load: Any, case: Any) -> str:
    if case is not None:
        return f"{pack.state}, with case {case.code}"
    if load is not None:
        held = ", which waits for its biological result" if pack.loaded[0].held else ""
        return f"{pack.state}, load {load.code}{held}"
    return _at(pack.state, pack.place)


def _at(state: str, place: object) -> str:
    return f"{state} in {place}" if place else f"{state}, its place is not recorded"


def _pack_stops(pack: Pack, name: str, now: datetime) -> Iterator[Finding]:
    if pack.state not in PACK_STAGES:
        remedy = USELESS_PACK.get(pack.state, "Choose another.")
        yield Finding(
            f"pack-{pack.state}",
            Severity.STOP,
            pack.code,
            f"{name}: pack {pack.code} is {_at(pack.state, pack.place)}.",
            remedy,
        )
    elif pack.state == PackState.STERILE and pack.use_by < now:
        sentence = f"{name}: pack {pack.code} was to be used until {timezone.localtime(pack.use_by):%d-%b-%Y}."
        yield Finding("expired", Severity.STOP, pack.code, sentence, "Send it back to the washer; choose another.")


def _pieces(asked: Asked, empty: Iterable[Tray]) -> list[Piece]:
    """Pieces that lie on the trays that are not packed, or that are to be had and could fill them or be asked for."""
    templates = {tray.template_id for tray in empty}
    lists = TemplateVersion.objects.filter(template__in=templates, state=VersionState.PUBLISHED)
    wanted = (
        Q(part__in=asked.parts)
        | Q(part__in=lists.values("lines__part"))
        | Q(part__in=lists.filter(lines__substitutes__isnull=False).values("lines__substitutes__part"))
        | Q(part__size__series__in=lists.filter(series_rules__isnull=False).values("series_rules__series"))
    )
    return list(_read(Q(placement__tray__in=empty) | (_TO_BE_HAD & wanted)).order_by("code"))


_TO_BE_HAD = Q(state__in=list(PIECE_STAGES)) & (Q(carried=None) | Q(carried__pack__state__in=list(ENDED)))


def _read(which: Q) -> Any:
    """Pieces of the unit with all that is told of them."""
    washed = LoadPiece.objects.filter(open=True).select_related("load")
    return (
        Piece.objects.of_unit()
        .filter(which)
        .select_related("carried__pack", "placement__tray", "closed_member", "loan")
        .prefetch_related("part__size__series", "place", Prefetch("load_pieces", washed, to_attr="washed_in"))
    )


def _elsewhere(parts: Collection[str]) -> list[Piece]:
    """Of each part the first pieces that are not to be had: of those on one tray, and of one closed set, apart."""
    apart = [F("part"), F("closed_member__tray"), F("placement__tray")]
    number = Window(RowNumber(), partition_by=apart, order_by="code")
    others = Piece.objects.of_unit().filter(part__code__in=parts).exclude(_TO_BE_HAD).annotate(number=number)
    first = others.filter(number__lte=PLACES_NAMED).values_list("pk", flat=True)
    return list(_read(Q(pk__in=list(first))).order_by("code")) if parts else []


def _carrier(piece: Piece) -> Pack | None:
    """The pack that a piece is in, live or returned and still to be counted."""
    carried = getattr(piece, "carried", None)
    return carried.pack if carried else None


def _tray_under(piece: Piece) -> Tray | None:
    placement = getattr(piece, "placement", None)
    return placement.tray if placement else None


def _stage(piece: Piece) -> Stage | None:
    """Where a piece stands that is to be had; None when it is not."""
    pack = _carrier(piece)
    return None if pack is not None and pack.state not in ENDED else PIECE_STAGES.get(piece.state)


def where_of(piece: Any) -> str:
    """Where a piece is, in words."""
    pack, tray = _carrier(piece), _tray_under(piece)
    if pack is not None:
        return f"{piece.state}, pack {pack.code}"
    if tray is not None:
        return f"on {tray.name}"
    if piece.washed_in:
        return f"{piece.state}, load {piece.washed_in[0].load.code}"
    return _at(piece.state, piece.place)


def _since(piece: Any) -> datetime | None:
    return local(piece.washed_in[0].load.started_at) if piece.washed_in else None


def _of_piece(piece: Piece) -> Whereabouts:
    return Whereabouts(
        code=piece.code,
        name=piece.part.name,
        kind="piece",
        serves=f"part:{piece.part.code}",
        stage=PIECE_STAGES[piece.state],
        where=where_of(piece),
        since=_since(piece),
    )


def _gathered(
    trays: Sequence[Tray],
    pieces: Sequence[Piece],
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
    loose = {row.item.code: (piece, row) for piece, row in zip(pieces, _loose(pieces), strict=True)}
    placed: dict[int, list[Item]] = defaultdict(list)
    for piece, row in loose.values():
        if (under := _tray_under(piece)) is not None:
            placed[under.pk].append(row.item)
    pool = Pool([row for _, row in loose.values()], now=now, today=now.date(), times=times)
    gone: set[str] = set()
    filled: dict[int, Gathered] = {}
    for tray in trays:
        if tray.template_id in version_of:
            of = lists[version_of[tray.template_id]]
            free = partial(_is_free, loose, gone, tray)
            filled[tray.pk] = gather(tray.code, tray.name, of, placed[tray.pk], pool, waiting=waiting, free=free)
            gone.update(row.item.code for row in filled[tray.pk].taken)
    lacking = {part for one in filled.values() for lack in one.lacking for part in lack.row.line.ranks}
    others = _elsewhere(lacking)
    elsewhere = list(zip(others, _loose(others), strict=True))
    for tray in trays:
        if tray.pk not in filled:
            yield _unlisted(tray)
            continue
        suited = [row for piece, row in elsewhere if piece.code not in loose and _may_lie_on(piece, tray)]
        yield _of_gathered(tray, placed[tray.pk], filled[tray.pk], suited)


def _is_free(loose: Mapping[str, tuple[Piece, Loose]], gone: Collection[str], tray: Tray, row: Loose) -> bool:
    return row.item.code not in gone and _may_lie_on(loose[row.item.code][0], tray)


def _loose(pieces: Sequence[Piece]) -> Iterator[Loose]:
    """Pieces as the rules of gathering see them, in the same order."""
    latest = Content.objects.filter(piece__in=pieces).order_by().values("piece").annotate(last=Max("pk"))
    last = dict(
        Content.objects.filter(pk__in=latest.values("last")).order_by().values_list("piece", "pack__tray__code")
    )
    for piece, item in zip(pieces, items(pieces), strict=True):
        yield Loose(
            item=item,
            where=where_of(piece),
            stage=_stage(piece),
            since=_since(piece),
            last_tray=last.get(piece.pk) or "",
        )


def _may_lie_on(piece: Piece, tray: Tray) -> bool:
    """A closed set is filled with its own pieces only, an open one with none of a closed set's."""
    member = getattr(piece, "closed_member", None)
    belongs = member.tray_id == tray.pk if member else not tray.closed
    return belongs and _tray_under(piece) != tray


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
        f"{where}, {slowest.item.code} is {slowest.where}" if slowest else where,
        since=slowest.since if slowest else None,
        sizes=frozenset(item.size.label for item in inside if item.kind == PartKind.BARREL and item.size),
        stops=(*(one for one in lacks if one.severity is Severity.STOP), *filled.stops),
        looks=(*(one for one in lacks if one.severity is not Severity.STOP), *filled.looks),
        holds=tuple(
            Held(
                item.code,
                item.part_code,
                item.part_name,
                item.kind,
                f"{item.size.series} {item.size.label}" if item.size else "",
            )
            for item in inside
        ),
    )
