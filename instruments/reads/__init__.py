"""Questions to pieces and parts."""

from instruments.reads.fits import KINDS_IN_ORDER, Company, Matrix, company_of, matrix_of
from instruments.reads.measures import BORE_KINDS, SHAFT_KINDS, bore_of, dimensions_of, shaft_of
from instruments.reads.mountings import PASSED, adapters_at_hand, base_of, fit_limits, judge_with_barrel, mounting_of
from instruments.reads.pieces import (
    against_packing,
    piece_by_mark,
    replaced_mark,
    single_use_facts,
    why_not_found,
)
from instruments.reads.scanners import scanner_doubt

__all__ = [
    "BORE_KINDS",
    "KINDS_IN_ORDER",
    "PASSED",
    "SHAFT_KINDS",
    "Company",
    "Matrix",
    "adapters_at_hand",
    "against_packing",
    "base_of",
    "bore_of",
    "company_of",
    "dimensions_of",
    "fit_limits",
    "judge_with_barrel",
    "matrix_of",
    "mounting_of",
    "piece_by_mark",
    "replaced_mark",
    "scanner_doubt",
    "shaft_of",
    "single_use_facts",
    "why_not_found",
]
