"""Questions to pieces and parts."""

from instruments.reads.fits import KINDS_IN_ORDER, Company, Matrix, company_of, matrix_of
from instruments.reads.loans import (
    LoanMember,
    LoanRow,
    lacks_certificate,
    loans_with_counts,
    may_arrive,
    may_go_back,
    members_of,
    wrong_loan,
)
from instruments.reads.measures import BORE_KINDS, SHAFT_KINDS, bore_of, dimensions_of, shaft_of, shape_of
from instruments.reads.mountings import (
    PASSED,
    Example,
    adapters_at_hand,
    base_of,
    examples,
    fit_limits,
    judge_with_barrel,
    mounting_of,
)
from instruments.reads.pieces import (
    against_packing,
    code_by_mark,
    piece_by_mark,
    replaced_mark,
    single_use_facts,
    why_not_found,
)
from instruments.reads.scanners import scanner_doubt
from instruments.reads.service import AWAY, RepairRow, ServiceRow, in_repair, last_repairs, service_plan

__all__ = [
    "AWAY",
    "BORE_KINDS",
    "KINDS_IN_ORDER",
    "PASSED",
    "SHAFT_KINDS",
    "Company",
    "Example",
    "LoanMember",
    "LoanRow",
    "Matrix",
    "RepairRow",
    "ServiceRow",
    "adapters_at_hand",
    "against_packing",
    "base_of",
    "bore_of",
    "code_by_mark",
    "company_of",
    "dimensions_of",
    "examples",
    "fit_limits",
    "in_repair",
    "judge_with_barrel",
    "lacks_certificate",
    "last_repairs",
    "loans_with_counts",
    "matrix_of",
    "may_arrive",
    "may_go_back",
    "members_of",
    "mounting_of",
    "piece_by_mark",
    "replaced_mark",
    "scanner_doubt",
    "service_plan",
    "shaft_of",
    "shape_of",
    "single_use_facts",
    "why_not_found",
    "wrong_loan",
]
