"""The verbs that a piece's page offers."""

from __future__ import annotations

from collections.abc import Callable, Collection

from instruments import actions
from instruments.models import Piece
from instruments.states import PIECE_MOVES
from journal.actions import Done
from journal.offers import Offer, Verb, offers
from journal.roles import Right

_RUN: dict[str, tuple[Verb, str, Callable[..., Done]]] = {
    verb.name.replace("_", "-"): (verb, move, run)
    for verb, move, run in (
        (Verb("find", "Piece found"), "find", actions.find),
        (Verb("miss", "Report missing", "Where it was last"), "miss", actions.miss),
        (Verb("send_to_repair", "Send to repair", "What is wrong"), "send_to_repair", actions.send_to_repair),
        (Verb("take_from_repair", "Take back from repair"), "take_from_repair", actions.take_from_repair),
        (Verb("lend", "Lend piece", "To whom, and until when"), "lend", actions.lend),
        (Verb("take_from_loan", "Take back from loan"), "take_from_loan", actions.take_from_loan),
        (Verb("quarantine_piece", "Quarantine piece", "Reason"), "quarantine", actions.quarantine_piece),
        (Verb("clear_piece", "Clear from quarantine", "Decision"), "clear", actions.clear_piece),
        (Verb("destroy_piece", "Destroy piece", "Decision"), "destroy", actions.destroy_piece),
        (Verb("withdraw", "Withdraw piece", "Reason"), "withdraw", actions.withdraw),
    )
}


def piece_offers(piece: Piece, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a piece now."""
    table = [(verb, PIECE_MOVES[move]) for verb, move, _ in _RUN.values()]
    return offers(table, url_name="piece-verb", code=piece.code, state=piece.state, rights=rights)


def piece_action(name: str) -> tuple[Verb, Callable[..., Done]] | None:
    """The verb and action behind the last part of an address."""
    found = _RUN.get(name)
    return None if found is None else (found[0], found[2])
