"""In which order one walks along the shelves."""

from __future__ import annotations

import re

_NUMBER = re.compile(r"(\d+)")


def shelf_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts places as they stand in the store: numbers by value, letters whatever their case.

    Args:
        name: name of the place, as its mark says it.

    Returns:
        A key to sort by: “Shelf 2” comes before “Shelf 10”, “shelf 2” beside “Shelf 2”.
    """
    parts = (part for part in _NUMBER.split(name) if part)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part.casefold()) for part in parts)
