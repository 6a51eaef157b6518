"""What happened: from a case to each load and piece, and from a piece or a pack to its cases."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from instruments.models import FunctionTest, Piece, PieceLine
from lists.models import Case, CaseLine, Issue
from reprocessing.models import Load, LoadPiece
from reprocessing.states import LoadState
from trays.models import Content, Pack, PackLine

WASHED = (LoadState.RELEASED, LoadState.RECALLED)
"""A wash that a piece was packed after: released then, whatever was found since."""


@dataclass(frozen=True, slots=True)
class PieceInPack:
    """A piece as it was packed, and the wash load it came from; none recorded for what came sterile."""

    content: Content
    wash: Load | None


@dataclass(frozen=True, slots=True)
class PackPath:
    """A pack with everything it went through: washes of its pieces, its steriliser loads, its issues."""

    pack: Pack
    pieces: tuple[PieceInPack, ...]
    loads: tuple[Load, ...]
    issues: tuple[Issue, ...]

    @property
    def washes(self) -> tuple[Load, ...]:
        """The wash loads of its pieces, each once, oldest first."""
        loads = {row.wash.pk: row.wash for row in self.pieces if row.wash}
        return tuple(loads[key] for key in sorted(loads))


@dataclass(frozen=True, slots=True)
class CaseHistory:
    """A case: its trail, and each pack that was handed to it."""

    case: Case
    lines: tuple[CaseLine, ...]
    packs: tuple[PackPath, ...]

    @property
    def implants(self) -> tuple[CaseLine, ...]:
        """The lines that name an implant, implanted or wasted, with lot and serial number."""
        return tuple(line for line in self.lines if line.verb in ("implant", "waste_implant"))


@dataclass(frozen=True, slots=True)
class PackHistory:
    """A pack: its trail and its path."""

    path: PackPath
    lines: tuple[PackLine, ...]

    @property
    def cases(self) -> tuple[Case, ...]:
        """The cases it was handed to, first to last."""
        return _cases(self.path.issues)


@dataclass(frozen=True, slots=True)
class PieceHistory:
    """A piece: its trail and tests, every wash load, and every pack it was in with that pack's path."""

    piece: Piece
    lines: tuple[PieceLine, ...]
    tests: tuple[FunctionTest, ...]
    washes: tuple[Load, ...]
    packs: tuple[PackPath, ...]

    @property
    def cases(self) -> tuple[Case, ...]:
        """The cases it was handed to in a pack, first to last."""
        return _cases(issue for path in self.packs for issue in path.issues)


def _cases(issues: Iterable[Issue]) -> tuple[Case, ...]:
    in_turn = sorted(issues, key=lambda issue: (issue.issued_at, issue.pk))
    return tuple({issue.case_id: issue.case for issue in in_turn}.values())


def case_history(case: Case) -> CaseHistory:
    """Everything that was used for a case, each piece with its wash and each pack with its steriliser load."""
    packs = Pack.objects.filter(issues__case=case).distinct().order_by("pk")
    lines = CaseLine.objects.filter(case=case).select_related("person", "station")
    return CaseHistory(case, tuple(lines), tuple(_paths(packs)))


def pack_history(pack: Pack) -> PackHistory:
    """Everything that a pack went through."""
    (path,) = _paths([pack])
    lines = PackLine.objects.filter(pack=pack).select_related("person", "station")
    return PackHistory(path, tuple(lines))


def piece_history(piece: Piece) -> PieceHistory:
    """Everything that a piece went through; other pieces of its packs are left out."""
    packs = Pack.objects.filter(contents__piece=piece).order_by("pk")
    washes = Load.objects.filter(load_pieces__piece=piece).select_related("machine", "programme").order_by("pk")
    return PieceHistory(
        piece,
        tuple(PieceLine.objects.filter(piece=piece).select_related("person", "station")),
        tuple(FunctionTest.objects.filter(piece=piece).select_related("by")),
        tuple(washes),
        tuple(_paths(packs, only=piece)),
    )


def _paths(packs: Iterable[Pack], *, only: Piece | None = None) -> list[PackPath]:
    """The paths of packs, in a number of queries that does not grow with them."""
    rows = list(packs)
    contents = Content.objects.filter(pack__in=rows).select_related("piece__part")
    if only is not None:
        contents = contents.filter(piece=only)
    held: dict[int, list[Content]] = defaultdict(list)
    for content in contents:
        held[content.pack_id].append(content)
    washes = _washes([content.piece_id for content in contents])
    through: dict[int, list[Load]] = defaultdict(list)
    loads = Load.objects.filter(load_packs__pack__in=rows).select_related("machine", "programme").order_by("pk")
    for load in loads.prefetch_related("load_packs").distinct():
        for member in load.load_packs.all():
            through[member.pack_id].append(load)
    issues: dict[int, list[Issue]] = defaultdict(list)
    for issue in Issue.objects.filter(pack__in=rows).select_related("case__list__theatre", "case__procedure"):
        issues[issue.pack_id].append(issue)
    return [
        PackPath(
            pack,
            tuple(PieceInPack(content, _wash_before(pack, washes[content.piece_id])) for content in held[pack.pk]),
            tuple(through[pack.pk]),
            tuple(issues[pack.pk]),
        )
        for pack in rows
    ]


def _washes(pieces: Iterable[int]) -> dict[int, list[Load]]:
    """Wash loads that each piece passed, oldest first."""
    found: dict[int, list[Load]] = defaultdict(list)
    rows = LoadPiece.objects.filter(piece__in=pieces, load__state__in=WASHED).order_by("load__ended_at", "pk")
    for row in rows.select_related("load__machine", "load__programme"):
        found[row.piece_id].append(row.load)
    return found


def _wash_before(pack: Pack, loads: Sequence[Load]) -> Load | None:
    """The last wash that had ended when the pack was assembled."""
    before = [load for load in loads if load.ended_at is not None and load.ended_at <= pack.assembled_at]
    return before[-1] if before else None
