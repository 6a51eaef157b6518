"""Somebody at the pages of trays, with and without JavaScript."""

from __future__ import annotations

from typing import Any

from django.test import Client
from django.urls import reverse

from instruments.models import Piece
from journal.models import Person
from journal.roles import Role
from tests import makers
from trays.models import Tray

SWAP = {"HX-Request": "true"}


def signed_in(by: Person | None = None, *roles: Role) -> Client:
    """A browser with somebody signed in: one of every role unless somebody or some roles are named."""
    client = Client()
    who = by or (makers.person(*roles) if roles else makers.everybody())
    client.force_login(who, backend="django.contrib.auth.backends.ModelBackend")
    return client


def bench(tray: Tray) -> str:
    return reverse("tray-bench", args=[tray.code])


def post(client: Client, name: str, of: str, **fields: str) -> list[str]:
    """What the next page says after a form without JavaScript."""
    back = reverse("tray-bench", args=[of]) if name.startswith("tray") else ""
    answer = client.post(reverse(name, args=[of]), {**fields, "back": back}, follow=True)
    assert answer.redirect_chain[0][1] == 303
    return [str(message) for message in answer.context["messages"]]


def swap(client: Client, name: str, tray: Tray, **fields: str) -> Any:
    """The answer to a form of the bench with JavaScript: its changing part only."""
    answer = client.post(reverse(name, args=[tray.code]), fields, headers=SWAP)
    assert b"<html" not in answer.content
    return answer


def two_lines(*, essential: bool = True) -> tuple[Tray, Piece, Piece]:
    """A tray of two lines with a piece for the first on it, and a piece for the second in hand."""
    first, second = makers.part(name="Forceps"), makers.part(name="Suction tube")
    tray = makers.tray(makers.template(first, makers.line(second, essential=essential)), name="Adult tray 7")
    laid, loose = makers.piece(first), makers.piece(second)
    makers.lay(tray, laid)
    return tray, laid, loose
