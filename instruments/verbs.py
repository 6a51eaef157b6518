"""The verbs that the page of a piece, and that of a loan, offers."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import NamedTuple

from instruments import actions
from instruments.forms import BackFromRepairForm, RepairForm
from instruments.loans import Direction
from instruments.models import Loan, Piece
from instruments.states import LOAN_MOVES, PIECE_MOVES
from journal.actions import Done
from journal.moves import Move
from journal.offers import Offer, Verb, offers
from journal.roles import Right


class Door(NamedTuple):
    """A verb as a page offers it, the move behind it, and the action that does it."""

    verb: Verb
    move: Move
    run: Callable[..., Done]


_SERVICE = Move("record_service", PIECE_MOVES["send_to_repair"].origins, PIECE_MOVES["inspect"].target, Right.REPAIR)
_P = PIECE_MOVES
_GROUPS: dict[str, tuple[Door, ...]] = {
    "Where it is": (
        Door(Verb("find", "Piece found"), _P["find"], actions.find),
        Door(Verb("miss", "Report missing", "Where it was last"), _P["miss"], actions.miss),
    ),
    "Repair and service": (
        Door(Verb("send_to_repair", "Send to repair", form=RepairForm), _P["send_to_repair"], actions.send_to_repair),
        Door(
            Verb("take_from_repair", "Take back from repair", form=BackFromRepairForm),
            _P["take_from_repair"],
            actions.take_from_repair,
        ),
        Door(Verb("record_service", "Record service", "What was done"), _SERVICE, actions.record_service),
    ),
    "Loan": (
        Door(Verb("take_from_loan", "Take back from loan"), _P["take_from_loan"], actions.take_from_loan),
        Door(Verb("give_back", "Give back to its lender"), _P["give_back"], actions.give_back),
    ),
    "Quarantine": (
        Door(Verb("quarantine_piece", "Quarantine piece", "Reason"), _P["quarantine"], actions.quarantine_piece),
        Door(Verb("clear_piece", "Clear from quarantine", "Decision"), _P["clear"], actions.clear_piece),
        Door(Verb("destroy_piece", "Destroy piece", "Decision"), _P["destroy"], actions.destroy_piece),
    ),
    "For good": (Door(Verb("withdraw", "Withdraw piece", "Reason"), _P["withdraw"], actions.withdraw),),
}
_OF_LOAN: tuple[Door, ...] = tuple(
    Door(verb, LOAN_MOVES[move], run)
    for verb, move, run in (
        (
            Verb("confirm_loan_count", "Confirm count", "Why it differs from the count agreed", always_asked=False),
            "confirm_count",
            actions.confirm_loan_count,
        ),
        (Verb("close_loan", "Close loan"), "close", actions.close_loan),
        (Verb("close_loan_short", "Close loan short", "Decision"), "close_short", actions.close_loan_short),
        (Verb("cancel_loan", "Cancel loan", "Reason"), "cancel", actions.cancel_loan),
    )
)


def piece_offers(piece: Piece, rights: Collection[Right]) -> Mapping[str, tuple[Offer, ...]]:
    """What can be done with a piece now, in groups; groups with nothing to do are left out."""
    borrowed = piece.loan is not None and piece.loan.direction == Direction.IN
    unfit = set() if borrowed else {"give_back"}
    if piece.part.service_days is None:
        unfit.add("record_service")
    found = {
        title: offers(
            [(door.verb, door.move) for door in doors if door.verb.name not in unfit],
            url_name="piece-verb",
            code=piece.code,
            state=piece.state,
            rights=rights,
        )
        for title, doors in _GROUPS.items()
    }
    return {title: group for title, group in found.items() if group}


def loan_offers(loan: Loan, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a loan as a whole now."""
    table = [(door.verb, door.move) for door in _OF_LOAN]
    return offers(table, url_name="loan-verb", code=loan.code, state=loan.state, rights=rights)


def _named(doors: Collection[Door]) -> dict[str, Door]:
    return {door.verb.name.replace("_", "-"): door for door in doors}


_PIECE_DOORS = _named([door for doors in _GROUPS.values() for door in doors])
_LOAN_DOORS = _named(_OF_LOAN)


def piece_door(name: str) -> Door | None:
    """What stands behind the last part of an address of a piece."""
    return _PIECE_DOORS.get(name)


def loan_door(name: str) -> Door | None:
    """What stands behind the last part of an address of a loan."""
    return _LOAN_DOORS.get(name)
