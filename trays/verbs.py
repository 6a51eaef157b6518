"""The verbs that a pack's page offers."""

from __future__ import annotations

from collections.abc import Callable, Collection

from journal.actions import Done
from journal.offers import Offer, Verb, offers
from journal.roles import Right
from trays import actions
from trays.models import Pack
from trays.states import PACK_MOVES

_RUN: dict[str, tuple[Verb, str, Callable[..., Done]]] = {
    verb.name.replace("_", "-"): (verb, move, run)
    for verb, move, run in (
        (Verb("take_apart", "Take pack apart", "Reason"), "take_apart", actions.take_apart),
        (Verb("quarantine_pack", "Quarantine pack", "Reason"), "quarantine", actions.quarantine_pack),
        (Verb("condemn_pack", "End the quarantine", "Decision"), "condemn", actions.condemn_pack),
        (Verb("expire_pack", "Set aside as expired"), "expire", actions.expire_pack),
        (Verb("scrap_pack", "Send back to the washer", "Reason", always_asked=False), "scrap", actions.scrap_pack),
    )
}


def pack_offers(pack: Pack, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a pack now, outside loads and cases."""
    table = [(verb, PACK_MOVES[move]) for verb, move, _ in _RUN.values()]
    return offers(table, url_name="pack-verb", code=pack.code, state=pack.state, rights=rights)


def pack_action(name: str) -> tuple[Verb, Callable[..., Done]] | None:
    """The verb and action behind the last part of an address."""
    found = _RUN.get(name)
    return None if found is None else (found[0], found[2])
