"""How much a tray's list may hold, the same for pages, the API and imported tables."""

from __future__ import annotations

from journal.findings import Finding, stop

LINES = 500
"""Places of a list; the packing order counts from 1."""

QUANTITY = (1, 50)
"""Pieces that a line may want, least and most."""

REASON = 200
"""Characters of the reason of a substitute."""

NOTE = 200
"""Characters of the note of a version."""

BAR = "|"
"""Parts several values in one cell of a table, so that no value may hold it."""


def out_of_range(what: str, value: int, between: tuple[int, int], verb: str, subject: str) -> tuple[Finding, ...]:
    """That a figure is not within its bounds; empty when it is.

    Args:
        what: the figure ("quantity").
        value: what was given.
        between: least and most.
        verb: as it stands in a sentence ("add Barrel 7.5 to").
        subject: the list.
    """
    least, most = between
    if least <= value <= most:
        return ()
    sentence = f"Cannot {verb} {subject}: the {what} is {value}, must be from {least} to {most}."
    return (stop(f"{what}-out-of-range", subject, sentence, f"Give another {what}."),)
