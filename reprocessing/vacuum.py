"""What a steam trace shows of its vacua: pulses that remove the air before the plateau, and drying after it.

Measures only; what they must be is the programme's, and the verdict is made in `judging`. A pressure inside
the chamber says nothing of what is left inside a lumen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reprocessing.plateau import Interval
from reprocessing.trace import Trace, is_gap
from reprocessing.trace_csv import MBAR_PER_BAR, FloatArray

# Between two pulses the pressure rises by at least this much (common practice, no source): ripple of a pump
# that works at the depth is no pulse.
PULSE_RISE_MBAR = 200.0
SAME_MBAR = 1e-6


@dataclass(frozen=True, slots=True)
class Drying:
    """The vacuum after the plateau.

    Args:
        lowest_mbar: lowest pressure [mbar absolute].
        under: longest continuous time at the depth or below; None when it was not reached.
    """

    lowest_mbar: float
    under: Interval | None


def count_pulses(trace: Trace, *, depth_mbar: float, until_s: float) -> int | None:
    """How often the chamber was evacuated to a depth before a moment, with steam let in after each.

    Args:
        trace: the cleaned trace.
        depth_mbar: a pulse reaches this pressure or less [mbar absolute].
        until_s: the start of the plateau, in the seconds of the trace.

    Returns:
        The count; of several gauges the least. None without a gauge, or when one has a gap before the moment.
    """
    counts = []
    for times, readings in _gauges(trace):
        before = times <= until_s
        if not np.any(before) or np.any(is_gap(np.diff(np.append(times[before], until_s)))):
            return None
        counts.append(_pulses(readings[before], depth_mbar))
    return min(counts, default=None)


def _pulses(readings: FloatArray, depth_mbar: float) -> int:
    count, deep = 0, False
    for reading in readings.tolist():
        if reading <= depth_mbar + SAME_MBAR:
            deep = True
        elif deep and reading >= depth_mbar + PULSE_RISE_MBAR:
            count, deep = count + 1, False
    return count


def find_drying(trace: Trace, *, depth_mbar: float, from_s: float) -> Drying | None:
    """The vacuum after a moment: how deep, and how long at a depth or below.

    Args:
        trace: the cleaned trace.
        depth_mbar: the depth [mbar absolute].
        from_s: the end of the plateau, in the seconds of the trace.

    Returns:
        The measures; of several gauges the weaker in each. None when a gauge has no reading after the moment,
        or there is no gauge.
    """
    found = []
    for times, readings in _gauges(trace):
        after = times > from_s
        if not np.any(after):
            return None
        found.append(Drying(float(readings[after].min()), _longest_under(times[after], readings[after], depth_mbar)))
    if not found:
        return None
    weakest = min(found, key=lambda drying: drying.under.length_s if drying.under else -1.0)
    return Drying(max(drying.lowest_mbar for drying in found), weakest.under)


def _longest_under(times: FloatArray, readings: FloatArray, depth_mbar: float) -> Interval | None:
    under = readings <= depth_mbar + SAME_MBAR
    linked = under[:-1] & under[1:] & ~is_gap(np.diff(times))
    starts = times[under & ~np.concatenate([[False], linked])]
    ends = times[under & ~np.concatenate([linked, [False]])]
    stretches = [Interval(float(start), float(end)) for start, end in zip(starts, ends, strict=True)]
    return max(stretches, key=lambda stretch: stretch.length_s, default=None)


def _gauges(trace: Trace) -> list[tuple[FloatArray, FloatArray]]:
    return [(times, readings * MBAR_PER_BAR) for times, readings in trace.pressure_readings()]
