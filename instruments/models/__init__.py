"""Parts with their dimensions, programmes, pieces and marks, loans and quarantine boxes."""

from instruments.models.boxes import BoxedPiece, BoxLine, QuarantineBox
from instruments.models.dimensions import (
    Adapter,
    Barrel,
    Base,
    BasePort,
    Forceps,
    Implant,
    Loader,
    Pusher,
    Seal,
    Sheath,
    Suction,
    Telescope,
)
from instruments.models.loans import Loan, LoanLine
from instruments.models.parts import Part, PartKind, Programme, ProgrammeKind, Series, Size, Validation
from instruments.models.pieces import FunctionTest, LoanPiece, Mark, Piece, PieceLine

__all__ = [
    "Adapter",
    "Barrel",
    "Base",
    "BasePort",
    "BoxLine",
    "BoxedPiece",
    "Forceps",
    "FunctionTest",
    "Implant",
    "Loader",
    "Loan",
    "LoanLine",
    "LoanPiece",
    "Mark",
    "Part",
    "PartKind",
    "Piece",
    "PieceLine",
    "Programme",
    "ProgrammeKind",
    "Pusher",
    "QuarantineBox",
    "Seal",
    "Series",
    "Sheath",
    "Size",
    "Suction",
    "Telescope",
    "Validation",
]
