"""What is known of a pack at issue, and how far the count of its return is."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from instruments.models import Piece, PieceLine
from journal.findings import Finding, Severity
from lists.issuing import ItemFact, LoadFact, PackFacts
from lists.models import Issue
from reprocessing.models import Load, LoadPiece
from reprocessing.reads import loads_of_pack
from reprocessing.states import IndicatorKind, LoadState, Result
from trays.models import Carried, Content, Pack
from trays.states import PackKind

OUTCOMES = {
    "drop": "dropped in the case, comes by itself",
    "take_back": "counted",
    "discard": "discarded",
    "implant": "implanted",
    "not_come_back": "missing",
}
"""What becomes of a piece of a pack that was used, in the words of a count sheet; the last counts."""

TO_COUNT = "to-count"
PIECES_NAMED = 6
"""So many pieces are named in one sentence; the count sheet has them all."""


def pack_facts(pack: Pack) -> PackFacts:
    """What the rule of issue asks of a pack."""
    pieces = list(Piece.objects.filter(carried__pack=pack).select_related("part"))
    recalled = _recalled_washes(pieces)
    return PackFacts(
        code=pack.code,
        use_by=timezone.localtime(pack.use_by),
        loads=tuple(_load_fact(load) for load in loads_of_pack(pack).prefetch_related("indicators", "doubts")),
        items=tuple(
            ItemFact(
                code=piece.code,
                name=piece.part.name,
                expires=piece.expires,
                identified=bool(piece.lot or piece.serial),
                recalled_wash=recalled.get(piece.pk, ""),
            )
            for piece in pieces
        ),
        from_maker=pack.kind == PackKind.MAKER,
        immediate=pack.kind == PackKind.IMMEDIATE,
        earlier_cases=tuple(pack.issues.values_list("case__code", flat=True)),
        lacks=tuple(f"{lack.quantity} × {lack.part_name}" for lack in pack.lacks.all()),
    )


def _load_fact(load: Load) -> LoadFact:
    due = any(row.kind == IndicatorKind.BIOLOGICAL and row.result == Result.WAITING for row in load.indicators.all())
    in_doubt = any(row.decided_at is None for row in load.doubts.all())
    return LoadFact(load.code, load.state, load.ended_at, due, in_doubt)


def _recalled_washes(pieces: list[Piece]) -> dict[int, str]:
    """Code of the last wash load of each piece, where that load has been recalled."""
    last = {
        row.piece_id: row.load
        for row in LoadPiece.objects.filter(piece__in=pieces).select_related("load").order_by("load__ended_at", "id")
    }
    return {piece: load.code for piece, load in last.items() if load.state == LoadState.RECALLED}


def to_count(pack: Pack) -> QuerySet[Carried]:
    """The pieces that are still out with a pack, without those dropped in the case, which come by themselves."""
    return Carried.objects.filter(pack=pack).exclude(Exists(_drops(pack)))


def dropped(pack: Pack) -> QuerySet[Carried]:
    """The pieces of a pack that were dropped or failed in its case and have not come back yet."""
    return (
        Carried.objects.filter(Exists(_drops(pack)), pack=pack).select_related("piece__part").order_by("piece__code")
    )


def _drops(pack: Pack) -> QuerySet[PieceLine]:
    return PieceLine.objects.filter(piece=OuterRef("piece"), verb="drop", evidence__pack=pack.code)


def still_to_count(pack: Pack) -> tuple[Finding, ...]:
    """One note that names the pieces which are out with a pack and have not been counted; none when all are."""
    rows = list(to_count(pack).select_related("piece__part").order_by("piece__code"))
    if not rows:
        return ()
    names = [f"{row.piece.part.name} {row.piece.code}" for row in rows[:PIECES_NAMED]]
    more = f" and {len(rows) - PIECES_NAMED} more" if len(rows) > PIECES_NAMED else ""
    expected = pack.contents.count()
    return (
        Finding(
            TO_COUNT,
            Severity.NOTE,
            pack.code,
            f"Still to be counted, {len(rows)} of {expected}: {', '.join(names)}{more}.",
            "Scan each; what has not come back is missing when the count is closed.",
            {"left": len(rows), "expected": expected},
        ),
    )


@dataclass(frozen=True, slots=True)
class CountRow:
    """A piece of the pack: its line, and how it left the pack; empty while it is still to be counted."""

    piece: str
    part_name: str
    position: int
    single_use: bool
    outcome: str


@dataclass(frozen=True, slots=True)
class CountSheet:
    """A pack's pieces against what has come back."""

    pack: str
    case: str
    closed: bool
    rows: tuple[CountRow, ...]

    @property
    def expected(self) -> int:
        """How many pieces went out."""
        return len(self.rows)

    @property
    def to_count(self) -> tuple[CountRow, ...]:
        """Those that are still to be counted."""
        return tuple(row for row in self.rows if not row.outcome)


def count_sheet(pack: Pack) -> CountSheet:
    """Expected against counted for a pack's last issue."""
    issue = Issue.objects.filter(pack=pack).select_related("case").order_by("-id").first()
    outcomes: dict[int, str] = defaultdict(str)
    lines = PieceLine.objects.filter(piece__contents__pack=pack, verb__in=list(OUTCOMES), evidence__pack=pack.code)
    for line in lines.order_by("pk"):
        outcomes[line.piece_id] = OUTCOMES[line.verb]
    contents = Content.objects.filter(pack=pack).select_related("piece__part")
    return CountSheet(
        pack=pack.code,
        case=issue.case.code if issue else "",
        closed=bool(issue and issue.count_closed_at),
        rows=tuple(
            CountRow(row.piece.code, row.part_name, row.position, row.piece.part.single_use, outcomes[row.piece_id])
            for row in contents
        ),
    )
