"""Questions about recalls: what a machine's indicators call back, what went through a load, what became of it."""

from __future__ import annotations

from bisect import bisect
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from operator import itemgetter
from statistics import median

from django.db.models import F, Q, QuerySet

from instruments.models import Piece
from instruments.states import PieceState
from journal.reads import policy
from reprocessing.models import Indicator, Load, LoadPiece, Machine, Recall, RecallItem, RecallLoad
from reprocessing.recall import Biology, Cycle, Policy, Scope, policy_for, scope_of, unsettled
from reprocessing.recall_states import IN_FORCE, Outcome
from reprocessing.states import IndicatorKind, LoadState, MachineKind, Result
from trays.models import Content, Pack
from trays.states import PackState

GOES_ON = (PieceState.CLEANED, PieceState.INSPECTED, PieceState.ON_TRAY)
"""A washed piece in one of these has come no further than the bench; a packed one goes with its pack."""
USED = (PackState.OPENED, PackState.RETURNED)
WITH_A_CASE = (PackState.ISSUED, PackState.OPENED)


def policy_of(machine: Machine) -> Policy:
    """By which policy the indicators of a machine are read."""
    return policy_for(steam=machine.kind == MachineKind.STEAM, every_positive=bool(policy("recall_every_positive")))


def cycles_of(machine: Machine) -> list[Cycle]:
    """Every cycle that a machine has started, in order, with its biological indicators."""
    said: dict[int, set[str]] = defaultdict(set)
    read = Indicator.objects.filter(load__machine=machine, kind=IndicatorKind.BIOLOGICAL)
    for load, result in read.values_list("load_id", "result"):
        said[load].add(result)
    loads = Load.objects.filter(machine=machine, started_at__isnull=False).order_by("started_at", "pk")
    implants = set(loads.filter(load_packs__pack__holds_implant=True).values_list("pk", flat=True))
    return [
        Cycle(number, code, _biology(said[key]), key in implants)
        for number, (key, code) in enumerate(loads.values_list("pk", "code"), start=1)
    ]


def _biology(results: Collection[str]) -> Biology:
    if Result.FAILED in results:
        return Biology.POSITIVE
    return Biology.NEGATIVE if Result.PASSED in results else Biology.NONE


def scope_by_indicators(machine: Machine) -> Scope:
    """What the indicators of a machine call back by the unit's policy."""
    return scope_of(unsettled(cycles_of(machine)), policy_of(machine))


@dataclass(frozen=True, slots=True)
class Members:
    """What a load has processed and is still to answer for: keys of packs, and of pieces in no pack."""

    packs: frozenset[int]
    pieces: frozenset[int]


def members_of(loads: Iterable[Load]) -> dict[int, Members]:
    """By the key of each load; of a washer every pack that was packed from its pieces before their next wash."""
    rows = list(loads)
    found = {load.pk: Members(frozenset(), frozenset()) for load in rows}
    steriles = [load.pk for load in rows if not load.machine.washes]
    packs: dict[int, set[int]] = defaultdict(set)
    for load, pack in Load.objects.filter(pk__in=steriles).values_list("pk", "load_packs__pack"):
        if pack is not None:
            packs[load].add(pack)
    found |= {load: Members(frozenset(keys), frozenset()) for load, keys in packs.items()}
    washes = [load for load in rows if load.machine.washes]
    return found | (_washed(washes) if washes else {})


def _washed(loads: Sequence[Load]) -> dict[int, Members]:
    """No pass and no pack from before the first of these loads has ended can matter."""
    wanted = {load.pk: load.ended_at for load in loads if load.ended_at is not None}
    if not wanted:
        return {}
    since = min(wanted.values())
    pieces = LoadPiece.objects.filter(load__in=wanted).values("piece")
    passed = LoadPiece.objects.filter(piece__in=pieces, load__state__in=(LoadState.RELEASED, LoadState.RECALLED))
    turns: dict[int, list[tuple[datetime, int]]] = defaultdict(list)
    later = passed.filter(load__ended_at__gte=since).order_by("load__ended_at", "load_id")
    for piece, ended, load in later.values_list("piece", "load__ended_at", "load"):
        if ended is not None:
            turns[piece].append((ended, load))
    packs: dict[int, set[int]] = defaultdict(set)
    packed = Content.objects.filter(piece__in=pieces, pack__assembled_at__gte=since).order_by()
    for pack, piece, at in packed.values_list("pack", "piece", "pack__assembled_at"):
        place = bisect(turns[piece], at, key=itemgetter(0))
        if place and turns[piece][place - 1][1] in wanted:
            packs[turns[piece][place - 1][1]].add(pack)
    bench: dict[int, set[int]] = defaultdict(set)
    for piece in Piece.objects.filter(pk__in=pieces, state__in=GOES_ON).order_by().values_list("pk", flat=True):
        if turns[piece]:
            bench[turns[piece][-1][1]].add(piece)
    return {load: Members(frozenset(packs[load]), frozenset(bench[load])) for load in wanted}


def washed_with(loads: Sequence[Load], members: Mapping[int, Members]) -> QuerySet[Piece]:
    """The pieces of washes that are in no pack, and those in packs whose last wash was one of these."""
    loose = frozenset().union(*(one.pieces for one in members.values()))
    packs = frozenset().union(*(one.packs for one in members.values()))
    last = Q(load_pieces__load__in=loads, cleaned_at=F("load_pieces__load__decision__at"))
    rows: QuerySet[Piece] = Piece.objects.filter(Q(pk__in=loose) | Q(carried__pack__in=packs) & last)
    return rows.distinct()


@dataclass(frozen=True, slots=True)
class Preview:
    """A recall before it is issued: what it would call back, counted.

    Args:
        loads: how many loads of it are released.
        others: codes of the loads that are not, and so cannot be called back.
        packs: packs by state.
        pieces: pieces in no pack, by state.
        held: how many pieces the packs hold.
        keys: of the packs.
    """

    loads: int
    others: tuple[Load, ...]
    packs: dict[str, int]
    pieces: dict[str, int]
    held: int
    places: dict[str, int]
    keys: frozenset[int]


def preview(recall: Recall) -> Preview:
    """What a draft would call back now."""
    rows = Load.objects.filter(recall_loads__recall=recall).select_related("machine").order_by("pk")
    called = [load for load in rows if load.state == LoadState.RELEASED]
    members = members_of(called)
    keys = frozenset().union(*(one.packs for one in members.values()))
    loose = frozenset().union(*(one.pieces for one in members.values()))
    packs = list(Pack.objects.filter(pk__in=keys).select_related("place"))
    pieces = list(Piece.objects.filter(pk__in=loose).select_related("place"))
    things: list[Pack | Piece] = [*packs, *pieces]
    return Preview(
        len(called),
        tuple(load for load in rows if load.state not in (LoadState.RELEASED, LoadState.RECALLED)),
        dict(sorted(Counter(pack.state for pack in packs).items())),
        dict(sorted(Counter(piece.state for piece in pieces).items())),
        Content.objects.filter(pack__in=keys).count(),
        dict(sorted(Counter(where(row.state, row.place) for row in things).items())),
        keys,
    )


def where(state: str, place: object | None) -> str:
    """Where a thing is looked for."""
    if state in WITH_A_CASE:
        return "With a case"
    return str(place) if place else "Place not recorded"


def outcome_of(state: str) -> Outcome:
    """What a pack's or piece's state says of it when it is called back."""
    if state in USED:
        return Outcome.USED
    return Outcome.ENDED if state == PackState.VOID else Outcome.OPEN


def loads_drafted(machine: Machine, scope: Scope) -> QuerySet[Load]:
    """Loads of a scope that still let something out: neither rejected nor called back already."""
    codes = [row.load for row in scope.called]
    rows: QuerySet[Load] = Load.objects.filter(machine=machine, code__in=codes)
    return rows.exclude(state__in=[LoadState.REJECTED, LoadState.RECALLED])


def called_back(packs: Iterable[Pack]) -> set[int]:
    """Keys of those packs that a recall in force is looking for."""
    rows = RecallItem.objects.filter(pack__in=list(packs), recall__state__in=IN_FORCE)
    return set(rows.exclude(outcome=Outcome.ENDED).values_list("pack", flat=True))


@dataclass(frozen=True, slots=True)
class Tally:
    """How many things of a place are found, used, not found, ended before, or still to find."""

    place: str
    items: tuple[RecallItem, ...]

    def count(self, outcome: Outcome) -> int:
        """How many have this outcome."""
        return sum(item.outcome == outcome for item in self.items)

    @property
    def counts(self) -> list[tuple[str, int]]:
        """Every outcome with its number; they add up to the whole."""
        return [(str(outcome), self.count(outcome)) for outcome in Outcome]

    @property
    def open(self) -> int:
        """How many are still to find."""
        return self.count(Outcome.OPEN)

    @property
    def time_to_find(self) -> timedelta | None:
        """Median time from the issue until a thing was found."""
        took = [
            (item.settled_at - item.recall.issued_at).total_seconds()
            for item in self.items
            if item.outcome == Outcome.FOUND and item.settled_at and item.recall.issued_at
        ]
        return timedelta(seconds=median(took)) if took else None


def loads_of(recall: Recall) -> QuerySet[RecallLoad]:
    """What a recall calls back, each load with the form by which it may have gone out before its result."""
    return recall.recall_loads.select_related("load__machine", "load__exceptional_release")


def items_of(recall: Recall) -> QuerySet[RecallItem]:
    """The work list of a recall."""
    rows: QuerySet[RecallItem] = recall.items.select_related(
        "recall", "pack", "piece__part", "place", "load", "settled_by"
    )
    return rows.order_by("place__name", "pk")


def tallies(items: Iterable[RecallItem]) -> list[Tally]:
    """The work list by place, in the order of their names."""
    groups: dict[str, list[RecallItem]] = defaultdict(list)
    for item in items:
        groups[where(item.state_then, item.place)].append(item)
    return [Tally(place, tuple(groups[place])) for place in sorted(groups)]


def whole(items: Iterable[RecallItem]) -> Tally:
    """The whole work list as one."""
    return Tally("Everywhere", tuple(items))


def unsettled_items(recall: Recall) -> int:
    """How many things of a recall are still to find."""
    return int(recall.items.filter(outcome=Outcome.OPEN).count())
