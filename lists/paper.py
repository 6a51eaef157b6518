"""Paper of the lists: the walk that completes a day's trays."""

from __future__ import annotations

from lists.reads import Completing
from trays.paper import draw


def work_sheet(found: Completing) -> bytes:
    """The moves of a day as a tagged PDF, place by place, with a box to tick for each."""
    return draw("lists/paper/work_sheet.html", {"found": found})
