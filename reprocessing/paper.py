"""Paper of recalls: what became of everything that was called back."""

from __future__ import annotations

from datetime import datetime

from journal.models import Person
from reprocessing.models import Recall
from reprocessing.reads.recalls import items_of, loads_of, tallies, whole
from trays.paper import draw


def recall_report(recall: Recall, *, by: Person, at: datetime) -> bytes:
    """The effectiveness of a recall as a tagged PDF, with who asked for it and when."""
    items = list(items_of(recall))
    context = {
        "recall": recall,
        "loads": loads_of(recall),
        "tallies": tallies(items),
        "whole": whole(items),
        "by": by,
        "at": at,
    }
    return draw("reprocessing/paper/recall_report.html", context)
