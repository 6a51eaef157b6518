"""Questions to templates, trays and packs."""

from trays.reads.bench import Bench, BenchRow, Change, TrayStanding, bench_of, changed_rows, tray_standings
from trays.reads.filling import Elsewhere, elsewhere, filling
from trays.reads.nearest import Near, nearest
from trays.reads.papers import LabelStanding, label_standing, unread_label
from trays.reads.proving import proof_of
from trays.reads.receiving import MakersMark, makers_mark
from trays.reads.stock import ShelfLot, StockRow, single_use_stock, stock_terms
from trays.reads.templates import (
    TemplateStanding,
    published_version,
    size_of,
    sterilising_programmes,
    template_standings,
    version_facts,
    version_in_force,
    wanted,
    wanted_of,
)
from trays.reads.trays import item_of, items, live_pack, load_of, tray_by_mark, tray_count

__all__ = [
    "Bench",
    "BenchRow",
    "Change",
    "Elsewhere",
    "LabelStanding",
    "MakersMark",
    "Near",
    "ShelfLot",
    "StockRow",
    "TemplateStanding",
    "TrayStanding",
    "bench_of",
    "changed_rows",
    "elsewhere",
    "filling",
    "item_of",
    "items",
    "label_standing",
    "live_pack",
    "load_of",
    "makers_mark",
    "nearest",
    "proof_of",
    "published_version",
    "single_use_stock",
    "size_of",
    "sterilising_programmes",
    "stock_terms",
    "template_standings",
    "tray_by_mark",
    "tray_count",
    "tray_standings",
    "unread_label",
    "version_facts",
    "version_in_force",
    "wanted",
    "wanted_of",
]
