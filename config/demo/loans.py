"""Loans and a repair: a set due back tomorrow, a piece lent out that is overdue, one at the workshop."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils import timezone

from config.demo.work import Unit
from instruments.actions import (
    agree_loan,
    confirm_loan_count,
    file_loan_papers,
    lend,
    receive_loan_piece,
    send_to_repair,
)
from instruments.loans import Direction, PrionHistory
from instruments.models import Piece
from instruments.states import PieceState

BORROWED = (("TE-553", "LS-31", "sound"), ("FO-O65", "LS-32", "sound"), ("FO-O65", "LS-33", "jaw a little worn"))
"""Part, mark and condition of each piece of the loan set."""


def loans(unit: Unit) -> None:
    """Three weeks ago a piece went out for a fortnight; a set came in for tomorrow, its instructions still to come."""
    now = timezone.now()
    today = timezone.localdate(now)
    unit.now = now - timedelta(days=21)
    lent = _spare("FO-B18").code
    lend_out(unit, [lent], "DSU-7", due=timezone.localdate(unit.now) + timedelta(days=14))
    unit.now = now - timedelta(days=4)
    worn = _spare("FO-G25")
    send_to_repair(
        worn.code,
        reason="hinge stiff",
        to="Instrument workshop of the hospital",
        order="WO-118",
        expected=today + timedelta(days=6),
        act=unit.act("tech1"),
    )
    unit.later(60)
    _borrowed(unit, due=today + timedelta(days=1))


def _spare(part: str) -> Piece:
    """An inspected piece that lies in no tray and belongs to no closed set."""
    spare = Piece.objects.filter(part__code=part, state=PieceState.INSPECTED, closed_member=None)
    return spare.order_by("-code")[0]


def lend_out(unit: Unit, pieces: Sequence[str], reference: str, *, due: date) -> None:
    """Own pieces go to the day surgery unit on one loan."""
    act = unit.act("tech1")
    loan = agree_loan(Direction.OUT, "Day surgery unit", due, len(pieces), reference=reference, act=act).mark
    file_loan_papers(loan, certificate=f"DC-{reference}", act=act)
    for piece in pieces:
        lend(piece, loan, condition="sound", act=act)
    confirm_loan_count(loan, act=act)


def _borrowed(unit: Unit, *, due: date) -> None:
    act = unit.act("tech2")
    loan = agree_loan(
        Direction.IN,
        "Instrument pool of the region",
        due,
        len(BORROWED),
        reference="POOL-2207",
        prion_history=PrionHistory.NO_RISK,
        act=act,
    ).mark
    for part, mark, condition in BORROWED:
        receive_loan_piece(loan, part, mark=mark, condition=condition, act=act)
    confirm_loan_count(loan, act=act)
