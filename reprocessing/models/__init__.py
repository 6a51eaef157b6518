"""Machines, loads, cycles with their evidence, releases and recalls."""

from reprocessing.models.evidence import DeviceReport, ExceptionalRelease, Indicator, Release, Trace
from reprocessing.models.intake import Arrival, ArrivalState, MachineColumns
from reprocessing.models.loads import Load, LoadLine, LoadPack, LoadPiece
from reprocessing.models.machines import Doubt, Machine, MachineLine, MachineTest, ProgrammePhase
from reprocessing.models.recalls import Recall, RecallItem, RecallLine, RecallLoad

__all__ = [
    "Arrival",
    "ArrivalState",
    "DeviceReport",
    "Doubt",
    "ExceptionalRelease",
    "Indicator",
    "Load",
    "LoadLine",
    "LoadPack",
    "LoadPiece",
    "Machine",
    "MachineColumns",
    "MachineLine",
    "MachineTest",
    "ProgrammePhase",
    "Recall",
    "RecallItem",
    "RecallLine",
    "RecallLoad",
    "Release",
    "Trace",
]
