"""The verbs that a case's page offers."""

from __future__ import annotations

from collections.abc import Callable, Collection

from journal.actions import Done
from journal.offers import Offer, Verb, offers
from journal.roles import Right
from lists import actions
from lists.models import Case
from lists.states import CASE_MOVES

_RUN: dict[str, tuple[Verb, Callable[..., Done]]] = {
    verb.name: (verb, run)
    for verb, run in (
        (Verb("end", "End case"), actions.end_case),
        (Verb("cancel", "Cancel case", "Why it will not take place"), actions.cancel_case),
    )
}


def case_offers(case: Case, rights: Collection[Right]) -> tuple[Offer, ...]:
    """What can be done with a case now, besides moving it and choosing its sets."""
    table = [(verb, CASE_MOVES[name]) for name, (verb, _) in _RUN.items()]
    return offers(table, url_name="case-verb", code=case.code, state=case.state, rights=rights)


def case_action(name: str) -> tuple[Verb, Callable[..., Done]] | None:
    """The verb and action behind the last part of an address."""
    return _RUN.get(name)
