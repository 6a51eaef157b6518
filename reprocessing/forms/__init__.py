"""Forms of loads, machines, recalls: what a step must be told. Whether it may happen is for the actions to say.

The cleaned values of a form are the arguments of its action, by name.
"""

from reprocessing.forms.decisions import Correct, DecideDoubt, ExceptionalRelease, Recall, Reject, Release
from reprocessing.forms.fields import filled
from reprocessing.forms.intake import (
    ColumnsForm,
    DeviceNumber,
    HoldFrom,
    LeakRecord,
    LeakTest,
    MatchRecord,
    SetRecordAside,
)
from reprocessing.forms.loads import (
    Add,
    Dosing,
    Merge,
    OpenLoad,
    PlaceIndicator,
    ReadIndicator,
    Record,
    Split,
    Start,
    TakeOff,
    TakeOut,
    Unload,
)
from reprocessing.forms.machines import LiftClosure, MachineReason, PlanClosure, Test
from reprocessing.forms.programmes import LimitLoads, LimitLumens
from reprocessing.forms.quality import Corrective, ProteinFound, RaiseNonconformity
from reprocessing.forms.recalls import Closing, DraftRecall, Settle, Signed, Why
from reprocessing.forms.upkeep import AskPeriodic, PutLotInUse, RecordPeriodic, TakeLotOutOfUse

__all__ = [
    "Add",
    "AskPeriodic",
    "Closing",
    "ColumnsForm",
    "Correct",
    "Corrective",
    "DecideDoubt",
    "DeviceNumber",
    "Dosing",
    "DraftRecall",
    "ExceptionalRelease",
    "HoldFrom",
    "LeakRecord",
    "LeakTest",
    "LiftClosure",
    "LimitLoads",
    "LimitLumens",
    "MachineReason",
    "MatchRecord",
    "Merge",
    "OpenLoad",
    "PlaceIndicator",
    "PlanClosure",
    "ProteinFound",
    "PutLotInUse",
    "RaiseNonconformity",
    "ReadIndicator",
    "Recall",
    "Record",
    "RecordPeriodic",
    "Reject",
    "Release",
    "SetRecordAside",
    "Settle",
    "Signed",
    "Split",
    "Start",
    "TakeLotOutOfUse",
    "TakeOff",
    "TakeOut",
    "Test",
    "Unload",
    "Why",
    "filled",
]
