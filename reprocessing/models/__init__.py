"""Machines, loads, cycles with their evidence, releases, recalls and non-conformities."""

from reprocessing.models.evidence import DeviceReport, ExceptionalRelease, Indicator, Release, Trace
from reprocessing.models.intake import Arrival, ArrivalState, MachineColumns
from reprocessing.models.loads import Load, LoadLine, LoadPack, LoadPiece
from reprocessing.models.machines import Doubt, Machine, MachineLine, MachineTest, ProgrammePhase
from reprocessing.models.periodic import PeriodicResult, PeriodicTest
from reprocessing.models.quality import CorrectiveAction, Nonconformity, NonconformityLine
from reprocessing.models.recalls import Recall, RecallItem, RecallLine, RecallLoad
from reprocessing.models.residue import ProteinCheck
from reprocessing.models.supplies import MachineLot
from reprocessing.models.upkeep import MachineClosure

__all__ = [
    "Arrival",
    "ArrivalState",
    "CorrectiveAction",
    "DeviceReport",
    "Doubt",
    "ExceptionalRelease",
    "Indicator",
    "Load",
    "LoadLine",
    "LoadPack",
    "LoadPiece",
    "Machine",
    "MachineClosure",
    "MachineColumns",
    "MachineLine",
    "MachineLot",
    "MachineTest",
    "Nonconformity",
    "NonconformityLine",
    "PeriodicResult",
    "PeriodicTest",
    "ProgrammePhase",
    "ProteinCheck",
    "Recall",
    "RecallItem",
    "RecallLine",
    "RecallLoad",
    "Release",
    "Trace",
]
