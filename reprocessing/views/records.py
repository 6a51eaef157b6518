"""The record of a cycle as a page shows it: its judgement, and the picture drawn anew from the file as received."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.safestring import SafeString

from instruments.models import ProgrammeKind
from reprocessing.device_evidence import said_rows
from reprocessing.judgement import Judgement
from reprocessing.limits import SteamLimits, WashLimits
from reprocessing.models import DeviceReport, Load, Trace
from reprocessing.reads import read_trace, steam_limits, wash_limits
from reprocessing.trace_panels import cycle_svg


@dataclass(frozen=True, slots=True)
class Record:
    """A cycle's record.

    Args:
        trace: the file as it was received.
        judgement: what was judged then.
        picture: its curves as SVG; empty where there are none to draw.
        not_drawn: why there is no picture; empty when there is one, or none is due.
    """

    trace: Trace
    judgement: Judgement
    picture: str = ""
    not_drawn: str = ""


def record_of(load: Load) -> Record | None:
    """The latest record of a load; the one that counts."""
    trace = load.traces.select_related("received_by").first()
    if trace is None:
        return None
    judgement = Judgement.from_dict(trace.judgement)
    if load.programme.kind == ProgrammeKind.LOW_TEMPERATURE:
        return Record(trace, judgement)
    try:
        return Record(trace, judgement, _drawn(load, trace, judgement))
    except ValueError as refusal:  # a later release may read less than the one that took it
        return Record(trace, judgement, not_drawn=str(refusal))


def messages_of(load: Load) -> list[tuple[DeviceReport, tuple[tuple[str, str], ...]]]:
    """The machine's own messages of a load, the latest first, each with everything that it says."""
    return [(row, said_rows(row.as_message())) for row in load.device_reports.select_related("received_by")]


def _drawn(load: Load, record: Trace, judgement: Judgement) -> SafeString:
    trace = read_trace(record.content, record.columns)
    title = f"Cycle record of load {load.code}"
    return SafeString(cycle_svg(trace, _limits(load), title=title, describe=judgement.sentence))


def _limits(load: Load) -> SteamLimits | WashLimits:
    programme = load.programme
    return wash_limits(programme) if programme.kind == ProgrammeKind.WASH else steam_limits(programme)
