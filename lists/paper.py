"""Paper of the lists: what completes a day's trays, its go / no go sheet, walks along the shelves, its plan's work."""

from __future__ import annotations

from datetime import datetime

from lists.models import DayPlanRow
from lists.plans.day_plan import DayPlan
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


def plan_sheet(row: DayPlanRow, plan: DayPlan, *, stale: bool, at: datetime) -> bytes:
    """What sterile services do by the plan of a day, in order, as a tagged PDF with a box to tick for each.

    Args:
        row: the plan's row.
        plan: the plan.
        stale: whether what it goes by has changed since.
        at: when it is printed.
    """
    late = [case for case in plan.cases if not case.on_time]
    context = {"row": row, "day": row.day, "plan": plan, "late": late, "stale": stale, "at": at}
    return draw("lists/paper/plan_sheet.html", context)
