"""The curves of a cycle: its record read anew, by the limits of its programme."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan
from typing import Any

from instruments.models import ProgrammeKind
from reprocessing.limits import SteamLimits, WashLimits
from reprocessing.models import Load
from reprocessing.models import Trace as Record
from reprocessing.reads import read_trace, steam_limits, wash_limits
from reprocessing.trace import Trace
from reprocessing.trace_panels import phases_of
from reprocessing.trace_phases import Phase
from reprocessing.trace_window import Window


@dataclass(frozen=True, slots=True)
class Curves:
    """What the record of a cycle shows.

    Args:
        trace: the cleaned trace.
        limits: the programme's.
        phases: what was found of them, in order of time.
    """

    trace: Trace
    limits: SteamLimits | WashLimits
    phases: tuple[Phase, ...]


def curves_of(load: Load, record: Record | None) -> Curves | None:
    """The curves of a load's record; None without one, and of a programme that is judged by phases alone.

    Raises:
        ValueError: the record can no longer be read; the sentence says why.
    """
    programme = load.programme
    if record is None or programme.kind == ProgrammeKind.LOW_TEMPERATURE:
        return None
    trace = read_trace(record.content, record.columns)
    limits = wash_limits(programme) if programme.kind == ProgrammeKind.WASH else steam_limits(programme)
    return Curves(trace, limits, phases_of(trace, limits).phases)


def curves_as_dict(curves: Curves, window: Window) -> dict[str, Any]:
    """Curves, and the readings of a stretch of them, as plain values; times [s] from the first reading."""
    times_s = curves.trace.times_s
    first_s, last_s = (float(times_s[0]), float(times_s[-1])) if times_s.size else (0.0, 0.0)
    limits = curves.limits
    return {
        "lasts_s": last_s - first_s,
        "times_s": window.times_s.tolist(),
        "columns": [
            {"name": column.name, "unit": column.unit, "values": [_plain(value) for value in column.values.tolist()]}
            for column in window.columns
        ],
        "thinned": window.thinned,
        "band_c": [limits.set_c, limits.set_c + limits.band_k] if isinstance(limits, SteamLimits) else [],
        "phases": [
            {"name": row.name, "from_s": row.during.start_s - first_s, "to_s": row.during.end_s - first_s}
            for row in curves.phases
        ],
    }


def _plain(value: float) -> float | None:
    return None if isnan(value) else value
