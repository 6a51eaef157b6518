"""The go / no go sheet of a day: printed, and kept byte for byte."""

from __future__ import annotations

import hashlib
from datetime import date, datetime
from typing import Any

from journal.actions import Act, Done, action_after, need
from journal.findings import Refused, stop
from journal.roles import Right
from lists.models import GoSheet
from lists.paper import go_sheet
from lists.reads import going, sheet_due

AT_CUTOFF = "the cut-off"


def _drawn(day: date, *, act: Act) -> dict[str, Any] | None:
    """What the sheet of a day says now; None where it says nothing or the person may not print it."""
    return _sheet(day, act.at, str(act.by)) if Right.PLAN in act.by.rights else None


def _sheet(day: date, at: datetime, by: str) -> dict[str, Any] | None:
    said = going(day, at=at)
    if not said.rows:
        return None
    document = go_sheet(said, by=by)
    sha256 = hashlib.sha256(document).hexdigest()
    return {"day": day, "drawn_at": at, "words": said.found.words, "sha256": sha256, "document": document}


@action_after(_drawn)
def print_go_sheet(drawn: dict[str, Any] | None, day: date, *, act: Act) -> Done:
    """Print the go / no go sheet of a day as it is now, and keep it as it was printed."""
    need(Right.PLAN, "print", "the go / no go sheet", act)
    mark = day.isoformat()
    if drawn is None:
        sentence = f"Cannot print the go / no go sheet of {day:%d-%b-%Y}: it has no case to come, must have one."
        raise Refused(stop("no-case", mark, sentence, "Look at another day."))
    row = GoSheet.objects.create(**drawn, drawn_by=act.by)
    return Done("print_go_sheet", "sheet", row.pk, mark, "", f"The sheet is printed and kept: {row.words}.")


def print_at_cutoff(at: datetime) -> GoSheet | None:
    """Print the sheet that is due since the last cut-off, once, whoever runs it and however often."""
    due = sheet_due(at)
    if due is None or GoSheet.objects.filter(cutoff_on=due[0]).exists():
        return None
    cutoff_on, day = due
    drawn = _sheet(day, at, AT_CUTOFF)
    if drawn is None:  # its last case was taken off meanwhile
        return None
    row, new = GoSheet.objects.get_or_create(cutoff_on=cutoff_on, defaults=drawn)
    return row if new else None
