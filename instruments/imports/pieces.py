"""Importing the register of pieces: one row per piece, found again by its code or by any of its marks."""

from __future__ import annotations

from typing import Any

from instruments.actions import enter_mark, next_service
from instruments.identity import Kind, mark_key, read_own_code
from instruments.models import Mark, Part, Piece, PieceLine
from instruments.states import PieceState
from instruments.writer import count_past, new_code
from journal.actions import Act, need, write_line
from journal.findings import Refused
from journal.imports import Report, RowFault, import_table
from journal.models import Place
from journal.roles import Right
from journal.tables import Column, Row, day, several, text, whole

COLUMNS = (
    Column("part", text(30), required=True),
    Column("code", text(20), default=""),
    Column("marks", several, default=()),
    Column("serial", text(40), default=""),
    Column("lot", text(40), default=""),
    Column("expires", day),
    Column("service_due", day),
    Column("cycles", whole(), default=0),
    Column("place", text(20), default=""),
)


def import_pieces(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import pieces; new ones start at returned. The columns are described in docs/imports.md.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "the register of pieces", act)
    return import_table(
        "Pieces", data, COLUMNS, lambda rows: _take(rows[0], act), dry_run=dry_run, keep_good=keep_good
    )


def _take(row: Row, act: Act) -> str:
    values = row.values
    code = _code(values["code"])
    if not code and not values["marks"]:
        raise RowFault("code", "", "a code, or at least one mark, by which the piece is found again")
    piece = _known(code, values["marks"])
    if piece is None:
        _create(code, values, act)
        return "created"
    return _update(piece, values, act)


def _code(text_of_code: str) -> str:
    """The own code as written on the piece, checked.

    Raises:
        RowFault: the check character does not fit, or it is not a piece's code.
    """
    if not text_of_code:
        return ""
    try:
        own = read_own_code(text_of_code)
    except ValueError as wrong:
        raise RowFault("code", text_of_code, f"a code of our own ({wrong})") from None
    if own.kind is not Kind.PIECE:
        raise RowFault("code", text_of_code, "a piece's code, beginning with P")
    return own.text


def _known(code: str, marks: tuple[str, ...]) -> Piece | None:
    by_code = Piece.objects.filter(code=code).first() if code else None
    keys = [mark_key(mark) for mark in marks]
    by_mark = Piece.objects.filter(marks__key__in=keys).distinct()
    if by_code is None and not code:
        return by_mark.first()
    other = by_mark.exclude(code=code).first()
    if other is not None:
        raise RowFault("marks", "|".join(marks), f"free, but a mark of it is on {other.code}")
    return by_code


def _part(code: str) -> Part:
    part = Part.objects.filter(code=code).first()
    if part is None:
        raise RowFault("part", code, "the code of a part in the catalogue")
    return part


def _place(code: str) -> Place | None:
    if not code:
        return None
    place = Place.objects.filter(code=code).first()
    if place is None:
        raise RowFault("place", code, "the code of a place of the unit")
    return place


def _fields(values: Any) -> dict[str, Any]:
    fields = {name: values[name] for name in ("serial", "lot", "expires", "service_due", "cycles")}
    return {**fields, "part": _part(values["part"]), "place": _place(values["place"])}


def _create(code: str, values: Any, act: Act) -> None:
    fields = _fields(values)
    fields["service_due"] = fields["service_due"] or next_service(fields["part"], act)
    piece = Piece.objects.create(code=code or new_code(Kind.PIECE), **fields)
    if code:
        count_past(read_own_code(code))
    write_line(PieceLine, piece, "enrol", act, target=PieceState.RETURNED, reason="imported")
    _marks(piece, values["marks"])


def _marks(piece: Piece, marks: tuple[str, ...]) -> None:
    for mark in marks:
        try:
            enter_mark(piece, mark)
        except Refused as refused:
            raise RowFault("marks", mark, f"a mark that can be taken ({refused.findings[0].sentence})") from None


def _update(piece: Piece, values: Any, act: Act) -> str:
    """What the register may still change once the unit works with a piece: not its part, not its cycles."""
    if piece.part.code != values["part"]:
        raise RowFault("part", values["part"], f"{piece.part.code}, the part of {piece.code}")
    fields = {name: value for name, value in _fields(values).items() if name not in ("part", "cycles", "place")}
    if fields["service_due"] is None:
        fields.pop("service_due")  # an empty cell leaves the date as it is
    changed = {name: value for name, value in fields.items() if getattr(piece, name) != value}
    keys = {mark_key(mark) for mark in values["marks"]}
    new_marks = keys - set(Mark.objects.filter(piece=piece).values_list("key", flat=True))
    if not changed and not new_marks:
        return "same"
    for name, value in changed.items():
        setattr(piece, name, value)
    piece.save(update_fields=list(changed))
    _marks(piece, values["marks"])
    evidence = {name: str(value) for name, value in changed.items()}
    write_line(PieceLine, piece, "change_register", act, reason="imported", evidence=evidence)
    return "changed"
