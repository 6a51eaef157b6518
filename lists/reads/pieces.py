"""The pieces that could fill a tray or serve by themselves, read as columns: a large unit has tens of thousands."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.db.models import F, FilteredRelation, Max, Q, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from instruments.models import Loan, Part, Piece
from instruments.states import PieceState
from lists.gathering import PLACES_NAMED, SizeKey
from lists.stages import Stage
from reprocessing.models import Load
from trays.matching import Item
from trays.models import Content
from trays.reads import item_of, size_of, sterilising_programmes
from trays.states import ENDED

PIECE_STAGES: dict[str, Stage] = {
    PieceState.INSPECTED: Stage.INSPECTED,
    PieceState.CLEANED: Stage.CLEANED,
    PieceState.IN_WASHER: Stage.IN_WASHER,
    PieceState.RETURNED: Stage.RETURNED,
    PieceState.IN_USE: Stage.IN_USE,
}
"""Pieces in any other state are not to be had, nor is one that a live pack carries."""
TO_BE_HAD = Q(state__in=list(PIECE_STAGES)) & (Q(carried=None) | Q(carried__pack__state__in=list(ENDED)))
"""Such pieces, as the database finds them."""


def local(moment: datetime | None) -> datetime | None:
    """A moment in the unit's time zone."""
    return None if moment is None else timezone.localtime(moment)


@dataclass(slots=True, eq=False)
class Washing:
    """A washer load that is open, and when it began."""

    code: str
    since: datetime | None


@dataclass(eq=False)
class PieceFound:
    """A piece with where it is; part, loan and load are shared with others.

    Args:
        programmes: codes of the sterilising programmes validated for its part.
        washing: the open washer load that it is in.
        place: name of the place that was recorded last.
        pack: code of the pack that it is in, live or returned and still to be counted.
        pack_state: state of that pack.
        tray: key of the tray that it lies on.
        tray_name: what a person calls that tray.
        closed_tray: key of the closed tray that it belongs to.
        packed_last: code of the tray it was packed with last.
    """

    part: Part
    programmes: Collection[str]
    loan: Loan | None
    washing: Washing | None
    packed_last: str | None
    code: str
    state: str
    maker_sterile: bool
    cycles: int
    service_due: date | None
    function_ok: bool | None
    insulation_ok: bool | None
    expires: date | None
    called_back: str
    place: str | None
    pack: str | None
    pack_state: str | None
    tray: int | None
    tray_name: str | None
    closed_tray: int | None

    @property
    def part_code(self) -> str:
        """Its part."""
        return self.part.code

    @property
    def sized(self) -> SizeKey | None:
        """Kind, series and size of its part; None where that has no size."""
        size = size_of(self.part)
        return (self.part.kind, size.series, size.label) if size else None

    @cached_property
    def item(self) -> Item:
        """The piece as the rules of a tray see it."""
        return item_of(self, self.programmes)

    @property
    def where(self) -> str:
        """Where it is, in words."""
        load = self.washing.code if self.washing else None
        return where_is(self.state, self.pack, self.tray_name, load, self.place)

    @property
    def stage(self) -> Stage | None:
        """Where it stands when it is to be had; None when it is not."""
        return None if self.pack_state is not None and self.pack_state not in ENDED else PIECE_STAGES.get(self.state)

    @property
    def since(self) -> datetime | None:
        """When its wash began."""
        return self.washing.since if self.washing else None

    @property
    def last_tray(self) -> str:
        """Code of the tray it was packed with last; else empty."""
        return self.packed_last or ""


_COLUMNS = (
    *("part", "loan", "washed_in__load", "pk"),
    *("code", "state", "maker_sterile", "cycles", "service_due", "function_ok", "insulation_ok", "expires"),
    *("called_back", "place__name", "carried__pack__code", "carried__pack__state", "placement__tray"),
    *("placement__tray__name", "closed_member__tray"),
)
"""The keys of what is looked up apart, then the fields of `PieceFound` in their order."""


def open_wash() -> FilteredRelation:
    """The open washer load that a piece is in, one at most; made anew for each query, which names it."""
    return FilteredRelation("load_pieces", condition=Q(load_pieces__open=True))


def found_pieces(which: Q) -> list[PieceFound]:
    """Pieces of the unit, by code; the columns only, for rows of their own would take most of a day's time."""
    pieces = Piece.objects.of_unit().filter(which).annotate(washed_in=open_wash())
    rows: list[Any] = list(pieces.order_by("code").values_list(*_COLUMNS))
    part_keys, loan_keys, load_keys = ({row[at] for row in rows} - {None} for at in range(3))
    parts = Part.objects.select_related("size__series").in_bulk(part_keys)
    loans = Loan.objects.in_bulk(loan_keys)
    begun = Load.objects.filter(pk__in=load_keys).values_list("pk", "code", "started_at")
    washing = {load: Washing(code, local(since)) for load, code, since in begun}
    allowed, last = sterilising_programmes(parts), _last_trays([row[3] for row in rows])
    return [
        PieceFound(parts[part], allowed.get(part, ()), loans.get(loan), washing.get(load), last.get(key), *told)
        for part, loan, load, key, *told in rows
    ]


def _last_trays(pieces: Collection[int]) -> dict[int, str | None]:
    """Code of the tray that each piece was packed with last, by its key.

    A query of its own: within that of the pieces it makes PostgreSQL expect so much work that it compiles the query.
    """
    latest = Content.objects.filter(piece__in=pieces).order_by().values("piece").annotate(last=Max("pk"))
    contents = Content.objects.filter(pk__in=latest.values("last")).order_by()
    return dict(contents.values_list("piece", "pack__tray__code"))


def found_elsewhere(parts: Collection[str]) -> list[PieceFound]:
    """Of each part the first pieces that are not to be had: of those on one tray, and of one closed set, apart."""
    apart = [F("part"), F("closed_member__tray"), F("placement__tray")]
    number = Window(RowNumber(), partition_by=apart, order_by="code")
    others = Piece.objects.of_unit().filter(part__code__in=parts).exclude(TO_BE_HAD).annotate(number=number)
    first = others.filter(number__lte=PLACES_NAMED).values_list("pk", flat=True)
    return found_pieces(Q(pk__in=list(first))) if parts else []


WHERE = ("state", "carried__pack__code", "placement__tray__name", "washed_in__load__code", "place__name")
"""What `where_is` is told, as columns of a piece annotated with `washed_in=open_wash()`."""


def where_is(state: str, pack: str | None, tray: str | None, load: str | None, place: str | None) -> str:
    """Where a piece is, in words, by its state and the names of what it is in or on."""
    if pack:
        return f"{state}, pack {pack}"
    if tray:
        return f"on {tray}"
    if load:
        return f"{state}, load {load}"
    return at_place(state, place)


def at_place(state: str, place: object) -> str:
    """A state with the place that was recorded, or that none was."""
    return f"{state} in {place}" if place else f"{state}, its place is not recorded"
