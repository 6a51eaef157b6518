"""What a scanned or typed mark stands for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.db.models import QuerySet

from config.context import address
from instruments.carriers import Scheme, shown
from instruments.identity import Kind, decode
from instruments.models import Loan, Mark, Piece, QuarantineBox
from instruments.reads import replaced_mark, why_not_found
from journal.findings import Finding, Refused, Severity, stops
from journal.models import Person, Place
from lists.models import Case
from reprocessing.models import Load, Machine, Nonconformity, Recall
from trays.models import Pack, Template, Tray


class Book(NamedTuple):
    """Where the things of a kind stand: their rows, the field of their code, how one is called, its page."""

    rows: Callable[[], QuerySet[Any]]
    field: str
    name: Callable[[Any], str]
    page: str


BOOKS: dict[Kind, Book] = {
    Kind.PIECE: Book(
        lambda: Piece.objects.select_related("part", "place"), "code", lambda row: row.part.name, "piece"
    ),
    Kind.TRAY: Book(lambda: Tray.objects.select_related("template", "home"), "code", str, "tray"),
    Kind.PACK: Book(lambda: Pack.objects.select_related("tray", "place"), "code", lambda row: row.name, "pack"),
    Kind.LOAD: Book(lambda: Load.objects.select_related("machine", "programme"), "code", lambda _: "Load", "load"),
    Kind.MACHINE: Book(lambda: Machine.objects.select_related("place"), "code", str, "machine"),
    Kind.BADGE: Book(lambda: Person.objects.filter(is_active=True), "badge", str, ""),
    Kind.PLACE: Book(Place.objects.all, "code", str, ""),
    Kind.CASE: Book(
        lambda: Case.objects.select_related("list__theatre", "procedure"), "code", lambda _: "Case", "case"
    ),
    Kind.RECALL: Book(Recall.objects.all, "code", lambda _: "Recall", "recall"),
    Kind.NONCONFORMITY: Book(Nonconformity.objects.all, "code", lambda _: "Non-conformity", "nonconformity"),
    Kind.BOX: Book(QuarantineBox.objects.all, "code", lambda _: "Quarantine box", "box"),
    Kind.TEMPLATE: Book(Template.objects.all, "code", str, ""),
    Kind.LOAN: Book(Loan.objects.all, "code", lambda row: f"Loan, {row.party}", "loan"),
}


@dataclass(frozen=True, slots=True)
class Thing:
    """Something of the unit that carries a mark.

    Args:
        kind: what it is.
        code: its code.
        name: what a person calls it.
        row: its database row.
        looks: what to look at although it was found.
    """

    kind: Kind
    code: str
    name: str
    row: Any
    looks: tuple[Finding, ...] = ()

    @property
    def words(self) -> str:
        """Name and code, as a sentence calls it."""
        return f"{self.name} {self.code}"

    @property
    def address(self) -> str:
        """The address of its page; empty when it has none."""
        return page_of(self.kind, self.code)


def page_of(kind: Kind, code: str) -> str:
    """The address of a thing's page; empty when it has none."""
    return address(BOOKS[kind].page, code)


def bench_of(tray: str) -> str:
    """The address where a tray is assembled."""
    return address("tray-bench", tray)


def resolve(text: str) -> Thing:
    """The one thing of the unit that a mark stands for.

    Our own codes name their kind. Any other mark is looked for on the pieces and among the codes that people
    gave by hand: places, cases, badges, machines.

    Args:
        text: what the scanner or the keyboard gave, spaces at its ends included.

    Raises:
        Refused: nothing of the unit has the mark, more than one thing has it, or it cannot be read.
    """
    decoded = decode(text)
    if unreadable := stops(decoded.findings):
        raise Refused(*unreadable)
    if decoded.scheme is Scheme.OWN:
        kind = Kind[decoded.identifiers["kind"].upper()]
        if kind not in BOOKS:
            raise Refused(_no_thing(decoded.key))
        found = list(_by_code(kind, decoded.key))
    else:
        kind = Kind.PIECE
        found = [*_by_mark(decoded.key), *_by_any_code(decoded.key.removeprefix("text:"))]
    if not found:
        raise Refused(*why_not_found(decoded, kind, shown(text.strip())))
    if len(found) > 1:
        raise Refused(_ambiguous(found, shown(text.strip())))
    return found[0]


def _by_code(kind: Kind, code: str) -> Iterator[Thing]:
    book = BOOKS[kind]
    for row in book.rows().filter(**{f"{book.field}__iexact": code}):
        yield Thing(kind, getattr(row, book.field), book.name(row), row)


def _by_any_code(code: str) -> Iterator[Thing]:
    for kind in BOOKS:
        yield from _by_code(kind, code)


def _by_mark(key: str) -> Iterator[Thing]:
    for mark in Mark.objects.filter(key=key).select_related("piece__part", "piece__place"):
        piece = mark.piece
        yield Thing(Kind.PIECE, piece.code, piece.part.name, piece, replaced_mark(mark))


def _no_thing(mark: str) -> Finding:
    sentence = f"Cannot find {mark}: it is a command card, must be the mark of a thing."
    return Finding("command-card", Severity.STOP, mark, sentence, "Scan command cards at a station.")


def _ambiguous(found: list[Thing], mark: str) -> Finding:
    named = " and ".join(f"a {thing.kind.word} ({thing.words})" for thing in found)
    sentence = f"Cannot tell what {mark} is: it stands for {named}, must stand for one thing."
    remedy = "Scan another mark of it, and have one of the codes changed."
    return Finding("ambiguous-code", Severity.STOP, mark, sentence, remedy)
