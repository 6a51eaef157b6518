"""Questions to templates, trays and packs."""

from trays.reads.templates import published_version, version_facts, wanted, wanted_of
from trays.reads.trays import (
    Bench,
    BenchRow,
    TrayStanding,
    bench_of,
    items,
    load_of,
    tray_by_mark,
    tray_count,
    tray_standings,
    whereabouts,
)

__all__ = [
    "Bench",
    "BenchRow",
    "TrayStanding",
    "bench_of",
    "items",
    "load_of",
    "published_version",
    "tray_by_mark",
    "tray_count",
    "tray_standings",
    "version_facts",
    "wanted",
    "wanted_of",
    "whereabouts",
]
