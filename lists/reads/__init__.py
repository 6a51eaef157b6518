"""Questions to lists and cases."""

from lists.reads.counting import CountRow, CountSheet, count_sheet, pack_facts, still_to_count
from lists.reads.readiness import (
    CaseRow,
    DayReadiness,
    StandingRow,
    list_readiness,
    stage_times,
    standing_sets,
    suggestions,
)

__all__ = [
    "CaseRow",
    "CountRow",
    "CountSheet",
    "DayReadiness",
    "StandingRow",
    "count_sheet",
    "list_readiness",
    "pack_facts",
    "stage_times",
    "standing_sets",
    "still_to_count",
    "suggestions",
]
