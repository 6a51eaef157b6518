"""Cards and sheets of the stations on A4: badges, marks of places, command cards, and the scanner card."""

from __future__ import annotations

from collections.abc import Iterable

from instruments.commands import Command
from instruments.scanner_check import CARD
from journal.models import Person, Place
from trays.models import Tray
from trays.paper.drawing import datamatrix, draw, qr

BADGE_MODULE_DOTS = 6
PLACE_MODULE_DOTS = 10
COMMAND_MODULE_DOTS = 14
SCANNER_MODULE_DOTS = 10
MOST_TRAYS = 12
"""Trays that a place's sheet lists; the rest is counted."""


def badges(people: Iterable[Person]) -> bytes:
    """A badge for each person that has one: name, role words, code; never anything that proves who they are."""
    rows = [(person, sorted(person.roles), qr(person.badge, BADGE_MODULE_DOTS)) for person in people if person.badge]
    return draw("trays/paper/badges.html", {"rows": rows})


def place_marks(places: Iterable[Place]) -> bytes:
    """The mark of each place with its name and the trays whose home it is."""
    rows = list(places)
    homes: dict[int, list[Tray]] = {place.pk: [] for place in rows}
    for tray in Tray.objects.filter(home__in=rows, in_service=True).order_by("name"):
        homes[tray.home_id or 0].append(tray)
    told = [
        (place, qr(place.code, PLACE_MODULE_DOTS), homes[place.pk][:MOST_TRAYS], len(homes[place.pk]) - MOST_TRAYS)
        for place in rows
    ]
    return draw("trays/paper/places.html", {"rows": told})


WHAT: dict[Command, str] = {
    Command.FINISH: "Lets go of what is in hand.",
    Command.NEXT_PERSON: "Signs out; the next person scans the badge.",
    Command.SET_ASIDE: "Sends the piece in hand to repair.",
    Command.UNDO_LAST: "Takes back a question; at the bench, what was laid last.",
    Command.HELP: "Opens the guide.",
}


def command_cards() -> bytes:
    """A card for each command, to be laminated."""
    rows = [(command, datamatrix(command.code, COMMAND_MODULE_DOTS), WHAT[command]) for command in Command]
    return draw("trays/paper/commands.html", {"rows": rows})


def scanner_card() -> bytes:
    """The card that shows whether a scanner is set up, and how it is set up."""
    context = {"symbol": datamatrix(CARD, SCANNER_MODULE_DOTS, gs1=True), "card": CARD}
    return draw("trays/paper/scanner_card.html", context)
