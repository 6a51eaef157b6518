"""Paper of the lists: the walk that completes a day's trays, its go / no go sheet, its walks along the shelves."""

from __future__ import annotations

from lists.reads import Completing, DayPicks, Going
from trays.paper import draw


def work_sheet(found: Completing) -> bytes:
    """The moves of a day as a tagged PDF, place by place, with a box to tick for each."""
    return draw("lists/paper/work_sheet.html", {"found": found})


def go_sheet(going: Going, *, by: str) -> bytes:
    """The judgement on a day's cases as a tagged PDF, with room for the decision that a person writes.

    Args:
        going: what it says.
        by: who or what printed it, in words.
    """
    return draw("lists/paper/go_sheet.html", {"going": going, "by": by})


def pick_list(picks: DayPicks) -> bytes:
    """The walks of a day along the shelves as a tagged PDF, a page for each theatre, a box to tick for each pack."""
    return draw("lists/paper/pick_list.html", {"picks": picks})
