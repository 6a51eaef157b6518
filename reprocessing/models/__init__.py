"""Machines, loads, cycles with their evidence, and releases."""

from reprocessing.models.evidence import ExceptionalRelease, Indicator, Release, Trace
from reprocessing.models.loads import Load, LoadLine, LoadPack, LoadPiece
from reprocessing.models.machines import Doubt, Machine, MachineLine, MachineTest, ProgrammePhase

__all__ = [
    "Doubt",
    "ExceptionalRelease",
    "Indicator",
    "Load",
    "LoadLine",
    "LoadPack",
    "LoadPiece",
    "Machine",
    "MachineLine",
    "MachineTest",
    "ProgrammePhase",
    "Release",
    "Trace",
]
