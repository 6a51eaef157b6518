"""The record of a cycle as a page shows it: its judgement, and the picture drawn anew from the file as received."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.safestring import SafeString

from reprocessing.device_evidence import said_rows
from reprocessing.judgement import Judgement
from reprocessing.judging import duration_words
from reprocessing.models import DeviceReport, Load, Trace
from reprocessing.reads.curves import Curves, curves_of
from reprocessing.trace_panels import cycle_svg
from reprocessing.trace_window import Range, ranges_of


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """A phase as a row of a table: its name, its length in words, and how far each probe and gauge ranged."""

    name: str
    lasted: str
    ranges: tuple[tuple[str, Range], ...]


@dataclass(frozen=True, slots=True)
class Record:
    """A cycle's record.

    Args:
        trace: the file as it was received.
        judgement: what was judged then.
        picture: its curves as SVG; empty where there are none to draw.
        phases: what it shows of the course of the cycle.
        not_drawn: why there is no picture; empty when there is one, or none is due.
    """

    trace: Trace
    judgement: Judgement
    picture: str = ""
    phases: tuple[PhaseRow, ...] = ()
    not_drawn: str = ""


def record_of(load: Load) -> Record | None:
    """The latest record of a load; the one that counts."""
    trace = load.traces.select_related("received_by").first()
    if trace is None:
        return None
    judgement = Judgement.from_dict(trace.judgement)
    try:
        curves = curves_of(load, trace)
    except ValueError as refusal:  # a later release may read less than the one that took it
        return Record(trace, judgement, not_drawn=str(refusal))
    if curves is None:
        return Record(trace, judgement)
    title = f"Cycle record of load {load.code}"
    picture = cycle_svg(curves.trace, curves.limits, title=title, describe=judgement.sentence)
    return Record(trace, judgement, SafeString(picture), _phase_rows(curves))


def messages_of(load: Load) -> list[tuple[DeviceReport, tuple[tuple[str, str], ...]]]:
    """The machine's own messages of a load, the latest first, each with everything that it says."""
    return [(row, said_rows(row.as_message())) for row in load.device_reports.select_related("received_by")]


def _phase_rows(curves: Curves) -> tuple[PhaseRow, ...]:
    columns = [f"{name}, °C" for name in curves.trace.probes] + [f"{name}, bar abs" for name in curves.trace.gauges]
    return tuple(
        PhaseRow(
            phase.name,
            duration_words(phase.during.length_s),
            tuple(zip(columns, ranges_of(curves.trace, phase), strict=True)),
        )
        for phase in curves.phases
    )
