"""Look back and look forward: the recorded contacts of things, fetched by breadth, and what a walk has found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from itertools import islice
from typing import Any

from django.db.models import F
from django.db.models.functions import Coalesce

from instruments.models import Piece
from lists.lineage import BEGINNING, END, Contacts, Node, Reached, Sort, by_sort, walk
from lists.models import Case, Issue
from reprocessing.models import Load, LoadPack, LoadPiece
from reprocessing.reads.supplies import loads_of_lot
from trays.models import Content, Pack

MOST_KEYS = 10_000
"""Keys in one query at most; SQLite takes 250 000 values in a statement, older builds 32 766."""
_RUN = Coalesce("load__started_at", "load__built_at")
MEETINGS: tuple[tuple[Any, Sort, Sort, Any], ...] = (
    (Content, Sort.PIECE, Sort.PACK, F("pack__assembled_at")),
    (LoadPiece, Sort.PIECE, Sort.LOAD, _RUN),
    (LoadPack, Sort.PACK, Sort.LOAD, _RUN),
    (Issue, Sort.PACK, Sort.CASE, F("issued_at")),
)
"""Where contacts are recorded, what goes into what, and when; the columns are called as the sorts are."""


def contacts_of(things: Collection[Node], since: datetime, *, forward: bool) -> Iterator[Contacts]:
    """The contacts of some things: eight queries at most for each ten thousand of them.

    Of what they went into those from a moment on; going back, up to it.
    """
    for some in _batched(things, MOST_KEYS):
        for table, inner, outer, at in MEETINGS:
            met = table.objects.order_by().annotate(met=at)
            into = met if since in (BEGINNING, END) else met.filter(**{"met__gte" if forward else "met__lte": since})
            for rows, sort, other in ((into, inner, outer), (met, outer, inner)):
                if keys := [node.key for node in some if node.sort is sort]:
                    found = rows.filter(**{f"{sort}__in": keys})
                    yield Contacts(sort, other, list(found.values_list(f"{sort}_id", f"{other}_id", "met")))


def _batched(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    rest = iter(items)
    while some := list(islice(rest, size)):
        yield some


@dataclass(frozen=True, slots=True)
class Row:
    """A thing that a walk has reached, as a person reads it.

    Args:
        sort: piece, pack, load or case.
        code: its code; of a case no more than that.
        name: what a person calls it.
        state: its state now.
        at: the moment of the contact; None where it holds from the beginning.
        turn: how many cases lie between.
        through: code of the thing that led to it.
        is_start: the walk begins with it.
    """

    sort: Sort
    code: str
    name: str
    state: str
    at: datetime | None
    turn: int
    through: str
    is_start: bool


@dataclass(frozen=True, slots=True)
class Trace:
    """What came before, or after, some things: the rows in order of time."""

    rows: tuple[Row, ...]

    @property
    def counts(self) -> list[tuple[str, int, dict[str, int]]]:
        """By sort how many, and of these how many in each state; the beginning left out."""
        found = []
        for sort in Sort:
            states = Counter(row.state for row in self.rows if row.sort is sort and not row.is_start)
            if states:
                found.append((str(sort), states.total(), dict(sorted(states.items()))))
        return found

    @property
    def reached(self) -> tuple[Row, ...]:
        """All but the beginning."""
        return tuple(row for row in self.rows if not row.is_start)


def trace(starts: Iterable[Node], *, forward: bool, turns: int | None) -> Trace:
    """Walk from some things, and name what was reached."""
    return _told(walk(starts, partial(contacts_of, forward=forward), forward=forward, turns=turns))


def _told(found: dict[Node, Reached]) -> Trace:
    named: dict[Node, tuple[str, str, str]] = {}
    for sort in Sort:
        for some in _batched(by_sort(found, sort), MOST_KEYS):
            named |= {Node(sort, key): words for key, *words in _named(sort, some)}  # type: ignore[misc]
    rows = [
        Row(
            node.sort,
            *named[node],
            at=None if reached.at in (BEGINNING, END) else reached.at,
            turn=reached.turn,
            through=named[reached.through][0] if reached.through else "",
            is_start=reached.through is None,
        )
        for node, reached in found.items()
    ]
    return Trace(tuple(sorted(rows, key=lambda row: (row.at is not None, row.at or BEGINNING, row.sort, row.code))))


def _named(sort: Sort, keys: Sequence[int]) -> Iterable[tuple[int, str, str, str]]:
    """Key, code, name and state; of a case nothing that is about a patient."""
    if sort is Sort.PIECE:
        return Piece.objects.filter(pk__in=keys).order_by().values_list("pk", "code", "part__name", "state")
    if sort is Sort.PACK:
        return Pack.objects.filter(pk__in=keys).order_by().values_list("pk", "code", "name", "state")
    if sort is Sort.LOAD:
        return Load.objects.filter(pk__in=keys).order_by().values_list("pk", "code", "machine__name", "state")
    return Case.objects.filter(pk__in=keys).order_by().values_list("pk", "code", "procedure__name", "state")


def loads_of(machine: int, since: datetime | None, until: datetime | None) -> set[Node]:
    """The loads that a machine has started in a stretch of time."""
    rows = Load.objects.filter(machine=machine, started_at__isnull=False)
    if since is not None:
        rows = rows.filter(started_at__gte=since)
    if until is not None:
        rows = rows.filter(started_at__lt=until)
    return {Node(Sort.LOAD, key) for key in rows.values_list("pk", flat=True)}


def of_lot(lot: str) -> set[Node]:
    """Loads with an indicator of a lot or run on a chemical of it, and pieces (implants among them) of it."""
    loads = {*Load.objects.filter(indicators__lot__iexact=lot).values_list("pk", flat=True)}
    loads |= {*loads_of_lot(lot).values_list("pk", flat=True)}
    pieces = Piece.objects.filter(lot__iexact=lot).values_list("pk", flat=True)
    return {Node(Sort.LOAD, key) for key in loads} | {Node(Sort.PIECE, key) for key in pieces}


def packs_of_tray(tray: int) -> set[Node]:
    """Every pack of a tray."""
    return {Node(Sort.PACK, key) for key in Pack.objects.filter(tray=tray).values_list("pk", flat=True)}
