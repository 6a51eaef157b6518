"""The one writer of the state of a piece, a loan and a quarantine box, used by every action that moves one."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import F

from instruments.box_states import BOX_MOVES
from instruments.identity import Kind, OwnCode
from instruments.models import BoxLine, Loan, LoanLine, LoanPiece, Piece, PieceLine, QuarantineBox
from instruments.states import LOAN_MOVES, PIECE_MOVES, PieceState
from journal.actions import Act, locked, move, write_line
from journal.findings import Finding, Refused, unknown
from journal.models import Counter

_SOILED: dict[str, Any] = {
    "cleaned_at": None,
    "inspected_at": None,
    "function_ok": None,
    "insulation_ok": None,
    "called_back": "",
    "maker_sterile": False,
}


def new_code(kind: Kind) -> str:
    """The next own code of a kind; the counter row is locked until the transaction ends."""
    Counter.objects.get_or_create(letter=str(kind))
    Counter.objects.filter(letter=str(kind)).update(value=F("value") + 1)
    return OwnCode(kind, Counter.objects.get(letter=str(kind)).value).text


def count_past(code: OwnCode) -> None:
    """Keep the counter ahead of a code that came from outside."""
    Counter.objects.get_or_create(letter=str(code.kind))
    Counter.objects.filter(letter=str(code.kind), value__lt=code.number).update(value=code.number)


def lock_pieces(codes: Iterable[str]) -> list[Piece]:
    """Pieces of these codes, locked in key order.

    Raises:
        Refused: a code that no piece has.
    """
    wanted = set(codes)
    rows = Piece.objects.select_for_update(of=("self",)).select_related("part__size__series", "loan").order_by("pk")
    found = list(rows.filter(code__in=wanted))
    missing = sorted(wanted - {piece.code for piece in found})
    if missing:
        raise Refused(*(unknown("piece", code) for code in missing))
    return found


def lock_piece(code: str) -> Piece:
    """One piece, locked."""
    return lock_pieces([code])[0]


def move_piece(
    piece: Piece,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    follows: bool = False,
    **fields: Any,
) -> None:
    """Move a locked piece; its use, and every way back to returned, forgets that it was ever clean.

    `follows`: the move is the consequence of another, whose right was asked.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    row = PIECE_MOVES[name]
    if row.target in (PieceState.IN_USE, PieceState.RETURNED):
        fields = {**_SOILED, **fields}
    move(piece, row, PieceLine, act, facts=facts, reason=reason, evidence=evidence, follows=follows, **fields)


def flag_piece(piece: Piece, wash: str, act: Act, *, reason: str) -> None:
    """The last wash of a locked piece was recalled: it stays where it is, and is not packed before the next."""
    piece.called_back = wash
    piece.save(update_fields=["called_back"])
    write_line(PieceLine, piece, "recall_wash", act, reason=reason, evidence={"load": wash})


def lock_loan(code: str) -> Loan:
    """One loan, locked; before any of its pieces.

    Raises:
        Refused: no loan has this code.
    """
    return locked(Loan.objects.all(), "loan", code)


def move_loan(
    loan: Loan,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
) -> None:
    """Move a locked loan along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(loan, LOAN_MOVES[name], LoanLine, act, facts=facts, reason=reason, evidence=evidence)


def join_loan(loan: Loan, piece: Piece, act: Act, *, condition: str = "") -> None:
    """A locked piece is on a locked loan from now on; both trails know it."""
    piece.loan = loan
    piece.save(update_fields=["loan"])
    LoanPiece.objects.get_or_create(loan=loan, piece=piece, defaults={"condition": condition})
    write_line(LoanLine, loan, "add_piece", act, evidence={"piece": piece.code, "condition": condition})


def lock_box(code: str) -> QuarantineBox:
    """One quarantine box, locked; before any of its pieces.

    Raises:
        Refused: no box has this code.
    """
    return locked(QuarantineBox.objects.all(), "quarantine box", code)


def move_box(
    box: QuarantineBox, name: str, act: Act, *, facts: Iterable[Finding] = (), reason: str = "", **fields: Any
) -> None:
    """Move a locked quarantine box along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(box, BOX_MOVES[name], BoxLine, act, facts=facts, reason=reason, **fields)
