"""Questions to lists and cases."""

from lists.reads.choices import Choice, choices_for
from lists.reads.completing import CanComplete, CannotComplete, Completing, Halt, Wish, completing
from lists.reads.counting import (
    TO_COUNT,
    CountRow,
    CountSheet,
    count_sheet,
    dropped,
    pack_facts,
    still_to_count,
    to_count,
)
from lists.reads.emergency import emergencies
from lists.reads.going import Going, case_cause, going, sheet_due
from lists.reads.history import (
    CaseHistory,
    PackHistory,
    PackPath,
    PieceHistory,
    PieceInPack,
    case_history,
    pack_history,
    piece_history,
)
from lists.reads.needs import newer_needs, versions_in_force
from lists.reads.picking import DayPicks, picking
from lists.reads.planned import NextLoad, listed_days, next_planned_load
from lists.reads.readiness import (
    CaseRow,
    DayNeeds,
    DayReadiness,
    StandingRow,
    day_needs,
    list_readiness,
    readiness_of,
    stage_times,
    standing_sets,
    suggestions,
)
from lists.reads.remedies import CaseFixes, applied_fixes, facts_to_change, fixes_of
from lists.reads.scenario import day_facts
from lists.reads.telling import planned_on

__all__ = [
    "TO_COUNT",
    "CanComplete",
    "CannotComplete",
    "CaseFixes",
    "CaseHistory",
    "CaseRow",
    "Choice",
    "Completing",
    "CountRow",
    "CountSheet",
    "DayNeeds",
    "DayPicks",
    "DayReadiness",
    "Going",
    "Halt",
    "NextLoad",
    "PackHistory",
    "PackPath",
    "PieceHistory",
    "PieceInPack",
    "StandingRow",
    "Wish",
    "applied_fixes",
    "case_cause",
    "case_history",
    "choices_for",
    "completing",
    "count_sheet",
    "day_facts",
    "day_needs",
    "dropped",
    "emergencies",
    "facts_to_change",
    "fixes_of",
    "going",
    "list_readiness",
    "listed_days",
    "newer_needs",
    "next_planned_load",
    "pack_facts",
    "pack_history",
    "picking",
    "piece_history",
    "planned_on",
    "readiness_of",
    "sheet_due",
    "stage_times",
    "standing_sets",
    "still_to_count",
    "suggestions",
    "to_count",
    "versions_in_force",
]
