"""Command cards: printed symbols that a gloved hand scans instead of pressing a button."""

from __future__ import annotations

from dataclasses import dataclass

FAULTS = ("bent, dented or cracked", "does not move or lock", "torn or worn out", "poor image or light")
"""What is most often wrong with a piece at the bench; common practice, no source."""

FINISH, TAKE_OFF, SET_ASIDE = "finish", "take off", "set aside"


@dataclass(frozen=True, slots=True)
class Card:
    """A command card.

    Args:
        text: what its symbol says; no mark of a thing looks like it.
        does: one of the commands of this module.
        label: what is printed beside the symbol.
        reason: the reason that the card states with its command; empty where it states none.
    """

    text: str
    does: str
    label: str
    reason: str = ""


CARDS = (
    Card("/DO/FINISH", FINISH, "Finish tray"),
    Card("/DO/TAKE-OFF", TAKE_OFF, "Take it off the tray"),
    *(
        Card(f"/DO/SET-ASIDE/{number}", SET_ASIDE, f"Set aside: {why}", why)
        for number, why in enumerate(FAULTS, start=1)
    ),
)
_BY_TEXT = {card.text: card for card in CARDS}


def card_of(key: str) -> Card | None:
    """The card whose symbol was scanned; None when it is no card's.

    Args:
        key: the canonical text of the mark, see `instruments.identity.mark_key`.
    """
    return _BY_TEXT.get(key.removeprefix("text:"))
