"""Questions to lists and cases."""

from lists.reads.counting import CountRow, CountSheet, count_sheet, pack_facts, still_to_count

__all__ = [
    "CountRow",
    "CountSheet",
    "count_sheet",
    "pack_facts",
    "still_to_count",
]
