"""Verbs that a page offers for a thing: each with its address, or with the reason why it may not happen now."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django import forms
from django.urls import reverse

from journal.moves import Move, why_not
from journal.roles import Right


@dataclass(frozen=True, slots=True)
class Verb:
    """A verb as a page offers it.

    Args:
        name: the action's name; also the last part of its address, with dashes.
        label: what the button says: verb and object.
        asks: what must be written beside it ("Reason"); empty when nothing.
        always_asked: whether that must be filled in.
        form: what is filled in instead, where one line of words is not enough.
    """

    name: str
    label: str
    asks: str = ""
    always_asked: bool = True
    form: type[forms.Form] | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """A verb for one thing, now."""

    verb: Verb
    address: str
    why_not: str


def offers(
    table: Collection[tuple[Verb, Move]],
    *,
    url_name: str,
    code: str,
    state: str,
    rights: Collection[Right],
) -> tuple[Offer, ...]:
    """The verbs of a table that suit a thing's state; one that lacks a right is offered with its reason.

    Args:
        table: verbs with the rows of the state table behind them.
        url_name: name of the address that takes (code, verb).
        code: the thing.
        state: its state.
        rights: the person's.
    """
    return tuple(
        Offer(
            verb,
            reverse(url_name, args=[code, verb.name.replace("_", "-")]),
            " ".join(finding.words for finding in why_not(row, subject=code, state=state, rights=rights)),
        )
        for verb, row in table
        if state in row.origins
    )
