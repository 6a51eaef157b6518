"""Command marks: cards that a gloved hand scans in place of a button."""

from __future__ import annotations

from enum import StrEnum

from instruments.identity import Kind, OwnCode, decode

BY_CARD = "Set aside with the command card; the fault is not described yet."
"""The reason of a piece that is set aside by the card alone."""


class Command(StrEnum):
    """What a card asks for; the value is what stands on it. The order is for ever: it numbers the cards."""

    FINISH = "Finish"
    NEXT_PERSON = "Next person"
    SET_ASIDE = "Set aside"
    UNDO_LAST = "Undo last"
    HELP = "Help"

    @property
    def code(self) -> str:
        """The mark on the card: "D0000010" for the first."""
        return OwnCode(Kind.COMMAND, list(Command).index(self) + 1).text


def command_of(text: str) -> Command | None:
    """The command that a mark stands for.

    Args:
        text: what the scanner or the keyboard gave; any text at all.

    Returns:
        The command; None for any other mark, and for one that cannot be read.
    """
    key = decode(text).key
    return next((command for command in Command if command.code == key), None)
