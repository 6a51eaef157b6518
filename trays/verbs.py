"""The verbs that a pack's page offers, and those for a piece at a tray's bench."""

from __future__ import annotations

from collections.abc import Callable, Collection

from django.urls import reverse

from instruments.loans import Direction
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Done
from journal.offers import Offer, Verb, offers
from journal.roles import Right
from trays import actions
from trays.models import Carried, ClosedMember, Pack, Tray
from trays.states import PACK_MOVES, PackKind

_RUN: dict[str, tuple[Verb, str, Callable[..., Done]]] = {
    verb.name.replace("_", "-"): (verb, move, run)
    for verb, move, run in (
        (Verb("take_apart", "Take pack apart", "Reason"), "take_apart", actions.take_apart),
        (Verb("quarantine_pack", "Quarantine pack", "Reason"), "quarantine", actions.quarantine_pack),
        (Verb("condemn_pack", "End the quarantine", "Decision"), "condemn", actions.condemn_pack),
        (Verb("give_back_pack", "Give back to its lender"), "give_back", actions.give_back_pack),
        (Verb("expire_pack", "Set aside as expired"), "expire", actions.expire_pack),
        (Verb("scrap_pack", "Send back to the washer", "Reason", always_asked=False), "scrap", actions.scrap_pack),
    )
}


def pack_offers(pack: Pack, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a pack now, outside loads and cases."""
    borrowed = Carried.objects.filter(pack=pack, piece__loan__direction=Direction.IN).exists()
    unfit = set() if borrowed and pack.kind == PackKind.MAKER else {"give_back_pack"}
    table = [(verb, PACK_MOVES[move]) for verb, move, _ in _RUN.values() if verb.name not in unfit]
    return offers(table, url_name="pack-verb", code=pack.code, state=pack.state, rights=rights)


def pack_action(name: str) -> tuple[Verb, Callable[..., Done]] | None:
    """The verb and action behind the last part of an address."""
    found = _RUN.get(name)
    return None if found is None else (found[0], found[2])


FAULTS = ("bent, dented or cracked", "does not move or lock", "torn or worn out", "poor image or light")
"""What is most often wrong with a piece at the bench, for one tap; common practice, no source."""

_AT_THE_BENCH: tuple[tuple[Verb, frozenset[PieceState], frozenset[Right]], ...] = (
    (Verb("take_off", "Take off the tray"), frozenset({PieceState.ON_TRAY}), frozenset({Right.ASSEMBLE})),
    (
        Verb("set_aside", "Set aside for repair", "What is wrong with it"),
        frozenset({PieceState.ON_TRAY}),
        frozenset({Right.ASSEMBLE, Right.REPAIR}),
    ),
    (
        Verb("set_aside", "Set aside for repair", "What is wrong with it"),
        frozenset({PieceState.INSPECTED}),
        frozenset({Right.REPAIR}),
    ),
    (Verb("pack_single", "Pack it by itself"), frozenset({PieceState.INSPECTED}), frozenset({Right.ASSEMBLE})),
)
_JOIN = (Verb("join", "Join it to the closed set", "Decision"), frozenset(PieceState), frozenset({Right.DECIDE}))


def bench_offers(piece: Piece, tray: Tray, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a piece in hand at the bench of a tray, besides laying it."""
    joins = tray.closed and not ClosedMember.objects.filter(piece=piece).exists()
    return tuple(
        Offer(
            verb,
            reverse(f"tray-{verb.name.replace('_', '-')}", args=[tray.code]),
            no_right(needed, rights),
        )
        for verb, states, needed in (*_AT_THE_BENCH, *((_JOIN,) if joins else ()))
        if piece.state in states
    )


def no_right(needed: Collection[Right], rights: Collection[Right]) -> str:
    """What a sign-in lacks for something, in words; empty when it lacks nothing."""
    return " ".join(f"Your sign-in does not hold the right “{right}”." for right in sorted(set(needed) - set(rights)))
