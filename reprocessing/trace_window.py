"""A trace for a reader who looks closely: the readings of a stretch of time, and how far each phase ranged.

A long stretch is thinned as the picture is, to the least and the greatest reading of each sliver of time, so that a
closer look is answered with more of the readings and no peak is ever lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from reprocessing.trace import Trace, is_gap
from reprocessing.trace_csv import FloatArray
from reprocessing.trace_phases import Phase
from reprocessing.trace_picture import thinned

CELSIUS, BAR_ABS = "°C", "bar abs"


@dataclass(frozen=True, slots=True)
class Column:
    """What one probe or gauge recorded.

    Args:
        name: its name.
        unit: "°C" or "bar abs".
        values: (n,) readings in that unit; NaN where there is none.
    """

    name: str
    unit: str
    values: FloatArray


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a trace.

    Args:
        times_s: (n,) from the first reading of the whole trace [s].
        columns: the probes, then the gauges, each (n,); a row of NaN parts what a gap parts.
        thinned: whether readings of the stretch were left out.
    """

    times_s: FloatArray
    columns: tuple[Column, ...]
    thinned: bool


@dataclass(frozen=True, slots=True)
class Range:
    """How far a probe or gauge ranged in a phase.

    Args:
        low: its lowest reading [°C or bar absolute]; None without any.
        high: its highest.
    """

    low: float | None
    high: float | None


def window_of(trace: Trace, *, from_s: float = -inf, to_s: float = inf) -> Window:
    """The readings of a stretch, with the one before and the one after it.

    Args:
        trace: the cleaned trace.
        from_s: start of the stretch, from the first reading [s].
        to_s: its end [s], later than the start.

    Returns:
        The stretch.

    Raises:
        ValueError: the end is not later than the start.
    """
    if not from_s < to_s:
        raise ValueError(f"The end must be later than the start, {from_s:g} s; it is {to_s:g} s.")
    seconds = trace.times_s - trace.times_s[:1]
    first = max(int(np.searchsorted(seconds, from_s, side="right")) - 1, 0)
    last = min(int(np.searchsorted(seconds, to_s, side="left")) + 1, seconds.size)
    shown, table = seconds[first:last], _table(trace)[first:last]
    gaps = np.flatnonzero(is_gap(np.diff(shown)))
    kept = _kept(shown, table, gaps)
    breaks = np.searchsorted(kept, gaps) + 1
    times = np.insert(shown[kept], breaks, (shown[gaps] + shown[gaps + 1]) / 2)
    values = np.insert(table[kept], breaks, np.nan, axis=0)
    units = [CELSIUS] * len(trace.probes) + [BAR_ABS] * len(trace.gauges)
    columns = zip((*trace.probes, *trace.gauges), units, values.T, strict=True)
    return Window(times, tuple(Column(*column) for column in columns), kept.size < shown.size)


def ranges_of(trace: Trace, phase: Phase) -> tuple[Range, ...]:
    """How far each probe, then each gauge, ranged in a phase, its first and last reading included."""
    during = (trace.times_s >= phase.during.start_s) & (trace.times_s <= phase.during.end_s)
    return tuple(_range(column[~np.isnan(column)]) for column in _table(trace)[during].T)


def _table(trace: Trace) -> FloatArray:
    """(n, probes + gauges) every reading."""
    return np.hstack((trace.temperatures_c, trace.pressures_bar_abs))


def _kept(seconds: FloatArray, table: FloatArray, gaps: np.ndarray) -> np.ndarray:
    """Rows that some column cannot do without, and those on either side of a gap."""
    kept = [gaps, gaps + 1]
    for column in table.T:
        there = np.flatnonzero(~np.isnan(column))
        kept.append(there[thinned(seconds[there], column[there])])
    return np.unique(np.concatenate(kept)).astype(int)


def _range(readings: FloatArray) -> Range:
    if not readings.size:
        return Range(None, None)
    return Range(float(readings.min()), float(readings.max()))
