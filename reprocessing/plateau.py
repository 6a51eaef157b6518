"""What a steam trace shows of its plateau: hold, equilibration, spread of the probes, nearness to saturation.

Measures only; what they must be is the programme's, and the verdict is made in `judging`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from reprocessing.steam import PRESSURE_RANGE_BAR_ABS, saturation_temperature_c
from reprocessing.trace import SAME_K, Trace, is_gap
from reprocessing.trace_csv import FloatArray


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of time, in the seconds of its trace.

    Raises:
        ValueError: it ends before it starts.
    """

    start_s: float
    end_s: float

    def __post_init__(self) -> None:
        if not self.start_s <= self.end_s:
            raise ValueError("An interval must not end before it starts.")

    @property
    def length_s(self) -> float:
        """How long it lasts [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Saturation:
    """Measured less theoretical temperature over a plateau, all probes and gauges.

    Args:
        least_k: the most negative difference: too cold for the pressure, as with air in the steam [K].
        greatest_k: the most positive difference: too hot for the pressure, as in superheated steam [K].
        covers: the pressure was recorded throughout, without a gap.
    """

    least_k: float
    greatest_k: float
    covers: bool


@dataclass(frozen=True, slots=True)
class Plateau:
    """The plateau of a steam cycle.

    Args:
        hold: longest continuous time with every probe inside the band; None when there was none.
        reached: longest continuous time with every probe at the set temperature or above, however hot.
        highest_c: hottest reading of the whole trace [°C]; None without a healthy probe.
        equilibration_s: from the first probe to reach the set temperature to the last [s].
        spread_k: greatest difference between probes while all had reached it [K]; None with fewer than two.
        saturation: None without pressure on the plateau.
        gap_s: longest gap between two readings inside the band [s]; None when there was none.
    """

    hold: Interval | None
    reached: Interval | None
    highest_c: float | None
    equilibration_s: float | None
    spread_k: float | None
    saturation: Saturation | None
    gap_s: float | None


def find_plateau(trace: Trace, *, set_c: float, band_k: float) -> Plateau:
    """Measure the plateau of a steam cycle.

    Time in the band is counted from the first reading inside it to the last, so it never exceeds what was
    recorded; a gap in any healthy probe ends it. A single missing reading does not: on the line between its
    neighbours the probe stays in the band.

    Args:
        trace: the cleaned trace.
        set_c: sterilising temperature, the lower edge of the band [°C].
        band_k: width of the band above it [K].

    Returns:
        The measures; what the trace does not show is None.
    """
    hold = longest_within(trace, set_c, set_c + band_k)
    reached = longest_within(trace, set_c, inf)
    readings = [readings for _, readings in trace.probe_readings() if readings.size]
    return Plateau(
        hold=hold,
        reached=reached,
        highest_c=max((float(probe.max()) for probe in readings), default=None),
        equilibration_s=_equilibration_s(trace, reached, set_c, band_k) if reached else None,
        spread_k=_spread_k(trace, reached) if reached else None,
        saturation=_saturation(trace, reached) if reached else None,
        gap_s=_gap_within_s(trace, set_c, set_c + band_k),
    )


def longest_within(trace: Trace, low_c: float, high_c: float) -> Interval | None:
    """Longest continuous time with every healthy probe from `low_c` to `high_c`; of equals the earliest."""
    common: list[Interval] | None = None
    for times, readings in trace.probe_readings():
        stretches = _stretches(times, _inside(readings, low_c, high_c))
        common = stretches if common is None else list(_shared(common, stretches))
    return max(common or (), key=lambda stretch: stretch.length_s, default=None)


def _inside(readings: FloatArray, low_c: float, high_c: float) -> NDArray[np.bool_]:
    return (readings >= low_c - SAME_K) & (readings <= high_c + SAME_K)


def _stretches(times: FloatArray, inside: NDArray[np.bool_]) -> list[Interval]:
    """Runs of readings inside, broken by gaps."""
    linked = inside[:-1] & inside[1:] & ~is_gap(np.diff(times))
    starts = times[inside & ~np.concatenate([[False], linked])]
    ends = times[inside & ~np.concatenate([linked, [False]])]
    return [Interval(float(start), float(end)) for start, end in zip(starts, ends, strict=True)]


def _shared(some: list[Interval], others: list[Interval]) -> Iterator[Interval]:
    """The stretches that lie in both lists, each of which is in order of time and without overlap."""
    here = there = 0
    while here < len(some) and there < len(others):
        start = max(some[here].start_s, others[there].start_s)
        end = min(some[here].end_s, others[there].end_s)
        if start <= end:
            yield Interval(start, end)
        if some[here].end_s < others[there].end_s:
            here += 1
        else:
            there += 1


def _equilibration_s(trace: Trace, reached: Interval, set_c: float, band_k: float) -> float | None:
    """Time between the first and the last probe to reach the set temperature on the way to the plateau.

    A dip by less than the band's width does not start the clock anew; pulses before the plateau dip by more.
    """
    arrivals = []
    for times, readings in trace.probe_readings():
        cold = np.flatnonzero((times < reached.start_s) & (readings < set_c - band_k))
        if not cold.size:
            return None  # the way up is not in the record
        hot = times[cold[-1] :][readings[cold[-1] :] >= set_c - SAME_K]
        arrivals.append(float(hot[0]))
    return max(arrivals) - min(arrivals) if len(arrivals) > 1 else None


def _between(times: FloatArray, stretch: Interval) -> NDArray[np.bool_]:
    return (times >= stretch.start_s) & (times <= stretch.end_s)


def _measured(trace: Trace, times: FloatArray) -> FloatArray:
    """(probes, n) temperatures at these times, on the line between readings where there is none [°C]."""
    return np.array([np.interp(times, *probe) for probe in trace.probe_readings()])


def _spread_k(trace: Trace, reached: Interval) -> float | None:
    if len(trace.probes) < 2:
        return None
    temperatures = _measured(trace, trace.times_s[_between(trace.times_s, reached)])
    return float(np.max(np.ptp(temperatures, axis=0)))


def _saturation(trace: Trace, reached: Interval) -> Saturation | None:
    differences, covers = [], True
    for times, pressures in trace.pressure_readings():
        low, high = PRESSURE_RANGE_BAR_ABS
        used = _between(times, reached) & (pressures >= low) & (pressures <= high)
        at = times[used]
        if at.size:
            differences.append((_measured(trace, at) - saturation_temperature_c(pressures[used])).ravel())
        edges = np.concatenate([[reached.start_s], at, [reached.end_s]])
        covers = covers and not np.any(is_gap(np.diff(edges)))
    if not differences:
        return None
    together = np.concatenate(differences)
    return Saturation(float(together.min()), float(together.max()), covers)


def _gap_within_s(trace: Trace, low_c: float, high_c: float) -> float | None:
    gaps = []
    for times, readings in trace.probe_readings():
        inside, steps = _inside(readings, low_c, high_c), np.diff(times)
        gaps.extend(steps[inside[:-1] & inside[1:] & is_gap(steps)].tolist())
    return max(gaps, default=None)
