"""Questions to the whole unit: what waits at each step, in a number of queries that does not grow with it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from instruments.models import Piece
from instruments.states import PieceState
from journal.reads import policy
from lists.models import Case, Issue, Requirement
from lists.states import OPEN_CASES
from reprocessing.models import Load
from reprocessing.states import LoadState, MachineKind
from trays.models import ClosedMember, Content, Pack, Placement, TemplateLine, Tray
from trays.states import PackState, VersionState


class Waiting(NamedTuple):
    """What came back of a set and is not in a washer yet."""

    pack: Pack
    pieces: int
    since: datetime | None
    overdue: bool


def returned_sets(at: datetime) -> tuple[list[Waiting], int]:
    """Sets with returned pieces, the longest waiting first, and how many returned pieces belong to none.

    A piece belongs to the latest pack that it was in.
    """
    latest = Content.objects.filter(piece=OuterRef("pk")).order_by("-pack_id").values("pack")[:1]
    rows = Piece.objects.filter(state=PieceState.RETURNED).annotate(latest=Subquery(latest)).values("latest")
    counts = {row["latest"]: row["pieces"] for row in rows.annotate(pieces=Count("pk"))}
    loose = counts.pop(None, 0)
    packs = Pack.objects.filter(pk__in=counts).select_related("tray")
    issues = Issue.objects.filter(pack__in=counts, returned_at__isnull=False).order_by("id")
    back = dict(issues.values_list("pack", "returned_at"))
    longest = timedelta(minutes=int(policy("time_to_clean_min")))
    waiting = [
        Waiting(pack, counts[pack.pk], since := back.get(pack.pk), since is not None and at - since > longest)
        for pack in packs
    ]
    return sorted(waiting, key=lambda row: (row.since is None, row.since or at, row.pack.code)), loose


def packs_out() -> QuerySet[Issue]:
    """Packs that a case has, opened or not, and that are not back; those opened first."""
    rows: QuerySet[Issue] = Issue.objects.filter(ended=False, returned_at=None)
    return rows.select_related("pack", "case").order_by("opened_at", "issued_at", "id")


def counts_open() -> QuerySet[Issue]:
    """Packs that are back with pieces still to be counted."""
    rows: QuerySet[Issue] = Issue.objects.filter(ended=False, returned_at__isnull=False)
    return rows.select_related("pack", "case").order_by("returned_at", "id")


def loads(*states: LoadState, washes: bool | None = None) -> QuerySet[Load]:
    """Loads in these states, of washers, of sterilisers, or of both; the oldest first."""
    rows: QuerySet[Load] = Load.objects.filter(state__in=states).select_related("machine", "programme").order_by("id")
    if washes is None:
        return rows
    washer = {"machine__kind": MachineKind.WASHER}
    return rows.filter(**washer) if washes else rows.exclude(**washer)


def packs_in(*states: PackState) -> QuerySet[Pack]:
    """Packs in these states, the oldest first."""
    rows: QuerySet[Pack] = Pack.objects.filter(state__in=states).select_related("tray", "place").order_by("id")
    return rows


def packs_to_store() -> QuerySet[Pack]:
    """Sterile packs whose shelf is not recorded."""
    return packs_in(PackState.STERILE).filter(place=None)


def pieces_by_part(state: PieceState) -> Iterator[tuple[str, int]]:
    """Names of parts with how many of their pieces are in a state."""
    rows = Piece.objects.filter(state=state).values("part__name").annotate(pieces=Count("pk")).order_by("part__name")
    yield from rows.values_list("part__name", "pieces")


def trays_to_assemble() -> list[tuple[Tray, int]]:
    """Trays in service that no live pack holds, with how many pieces lie on each; those begun first."""
    busy = Pack.objects.live().filter(tray__isnull=False).values("tray")
    rows = Tray.objects.filter(in_service=True).exclude(pk__in=busy).annotate(laid=Count("placements"))
    return sorted(((tray, tray.laid) for tray in rows), key=lambda row: (-row[1], row[0].name))


def trays_wanting(piece: Piece) -> list[Tray]:
    """Trays to assemble with room for a piece on a line that it may serve; a closed set takes its own pieces only."""
    own = Q(members__piece=piece) if ClosedMember.objects.filter(piece=piece).exists() else Q(closed=False)
    trays = Tray.objects.filter(own, pk__in=[tray.pk for tray, _ in trays_to_assemble()])
    asked = Q(part=piece.part_id) | Q(substitutes__part=piece.part_id)
    lines = TemplateLine.objects.filter(asked, version__state=VersionState.PUBLISHED).distinct()
    wanted: dict[int, list[TemplateLine]] = defaultdict(list)
    for line in lines.select_related("version").prefetch_related("substitutes"):
        wanted[line.version.template_id].append(line)
    laid = Counter(Placement.objects.filter(tray__in=trays).values_list("tray", "piece__part"))
    return [
        tray
        for tray in trays
        if any(
            sum(laid[tray.pk, part] for part in (line.part_id, *(row.part_id for row in line.substitutes.all())))
            < line.quantity
            for line in wanted[tray.template_id]
        )
    ]


def open_cases(at: datetime) -> QuerySet[Case]:
    """Cases of today and tomorrow that may be given packs, in order of start."""
    today = timezone.localdate(at)
    rows: QuerySet[Case] = Case.objects.filter(state__in=sorted(OPEN_CASES), list__day__gte=today)
    return rows.filter(list__day__lte=today + timedelta(days=1)).select_related("list__theatre", "procedure")


def issued_packs(case: str = "") -> QuerySet[Issue]:
    """Packs that are with a case, or with this one, and not opened."""
    rows: QuerySet[Issue] = Issue.objects.filter(pack__state=PackState.ISSUED, ended=False)
    rows = rows.select_related("pack", "case").order_by("case__starts_at", "id")
    return rows.filter(case__code=case) if case else rows


def requirements_left(case: str) -> list[Requirement]:
    """What a case needs and was given no pack for; a pack that came back unopened was not given."""
    kept = Issue.objects.filter(Q(ended=False) | Q(opened_at__isnull=False), case__code=case)
    given: Counter[tuple[str, int | None]] = Counter()
    given.update(("template", key) for key in kept.values_list("pack__tray__template", flat=True))
    singles = kept.filter(pack__tray=None).values_list("pack__contents__piece__part", flat=True)
    given.update(("part", key) for key in singles)
    left = []
    rows = Requirement.objects.filter(case__code=case)
    for row in rows.select_related("template", "part", "allocation__tray", "allocation__pack"):
        wanted = ("template", row.template_id) if row.template_id else ("part", row.part_id)
        if not given[wanted]:
            left.append(row)
        given[wanted] -= 1
    return left


class Queue(NamedTuple):
    """A step of the loop: what waits there, how much, and the work that takes it on."""

    label: str
    waiting: int
    work: str


def work_queues(at: datetime) -> list[Queue]:
    """What waits at each step, in the order of the loop."""
    pieces = Counter(dict(Piece.objects.order_by().values_list("state").annotate(Count("pk"))))
    packs = Counter(dict(Pack.objects.order_by().values_list("state").annotate(Count("pk"))))
    states = Counter(dict(Load.objects.order_by().values_list("state").annotate(Count("pk"))))
    soon = at + timedelta(days=int(policy("expiring_soon_days")))
    return [
        Queue("packs out with a case", packs[PackState.ISSUED] + packs[PackState.OPENED], "return"),
        Queue("returned packs, count not closed", counts_open().count(), "return"),
        Queue("returned pieces for the washer", pieces[PieceState.RETURNED], "wash-in"),
        Queue("cleaned pieces to inspect", pieces[PieceState.CLEANED], "inspect"),
        Queue("trays to assemble", len(trays_to_assemble()), "assemble"),
        Queue("packs for the steriliser", packs[PackState.ASSEMBLED], "sterilise-in"),
        Queue("loads running", states[LoadState.RUNNING], "loads"),
        Queue("loads to decide on", states[LoadState.AWAITING_RELEASE], "loads"),
        Queue("sterile packs without a place", packs_to_store().count(), "store"),
        Queue(
            "sterile packs about to expire", packs_in(PackState.STERILE).filter(use_by__lte=soon).count(), "notices"
        ),
    ]
