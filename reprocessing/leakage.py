"""The air leakage test of a chamber: how fast its pressure rises once it is evacuated and shut off.

The rate is a rise over a stated period after a stated time of settling, in millibar a minute; a rise without
its period says nothing. The hold begins at the last reading of the lowest pressure, unless whoever ran the
test knows when the valves closed. A record that does not reach to the end of the period gives no rate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

import numpy as np

from journal.findings import Finding, Severity
from reprocessing.judgement import NOT_RECORDED, EvidenceRow, Judgement
from reprocessing.plateau import Interval
from reprocessing.trace import Trace, is_gap
from reprocessing.trace_csv import MBAR_PER_BAR, FloatArray

SECONDS_PER_MINUTE = 60.0
ZERO_CELSIUS_K = 273.15
SAME_MBAR_MIN = 1e-9
WARMED_K = 1.0  # a chamber that warmed or cooled by more is told of: common practice, no source


@dataclass(frozen=True, slots=True)
class LeakLimits:
    """What an air leakage test must show.

    Args:
        most_mbar_min: greatest rate [mbar/min].
        settle_s: time after the valves close that is left out [s].
        period_s: time over which the rise is measured [s].
        deepest_mbar: pressure at which the hold should begin, or below [mbar absolute].
        source: where the limits come from.
        confirm_locally: the source is not settled; the unit must confirm the limits.

    Raises:
        ValueError: a limit is not above zero, or the source is empty.
    """

    most_mbar_min: float
    settle_s: float
    period_s: float
    deepest_mbar: float
    source: str
    confirm_locally: bool = True

    def __post_init__(self) -> None:
        if not min(self.most_mbar_min, self.settle_s, self.period_s, self.deepest_mbar) > 0:
            raise ValueError("Each limit of an air leakage test must be above 0.")
        if not self.source:
            raise ValueError("Limits need their source.")


# 1.3 mbar/min (0.13 kPa/min) over 600 s after 300 s of settling: EN 285, HTM 2010, read second-hand; the
# pressure of about 70 mbar at which the test begins: the same, from memory.
USUAL = LeakLimits(
    most_mbar_min=1.3,
    settle_s=300.0,
    period_s=600.0,
    deepest_mbar=70.0,
    source="EN 285, read second-hand; the pressure at the start from memory",
)


@dataclass(frozen=True, slots=True)
class Leak:
    """What a record shows of a leakage test.

    Args:
        hold_from_s: when the hold begins, in the seconds of the trace.
        start_mbar: pressure then [mbar absolute].
        measured: the period over which the rise was measured.
        rise_mbar: the rise over it; of several gauges the greatest; None when the record does not cover it.
        warmed_k: greatest change of a probe over the period [K]; None without a probe that covers it.
    """

    hold_from_s: float
    start_mbar: float
    measured: Interval
    rise_mbar: float | None
    warmed_k: float | None

    @property
    def rate_mbar_min(self) -> float | None:
        """The rise a minute [mbar/min]."""
        if self.rise_mbar is None:
            return None
        return self.rise_mbar / (self.measured.length_s / SECONDS_PER_MINUTE)


def find_leak(trace: Trace, *, settle_s: float, period_s: float, hold_from_s: float | None = None) -> Leak | None:
    """Measure the rise of pressure of an evacuated chamber.

    Args:
        trace: the cleaned trace of the test.
        settle_s: time after the beginning of the hold that is left out [s].
        period_s: time over which the rise is measured [s].
        hold_from_s: when the valves closed, in the seconds of the trace; None takes the last reading of the
            lowest pressure.

    Returns:
        The measures; None when no gauge has left a reading from then on.
    """
    gauges = [(times, readings * MBAR_PER_BAR) for times, readings in trace.pressure_readings()]
    if hold_from_s is None:
        hold_from_s = max((_last_lowest(*gauge) for gauge in gauges), default=None)
    if hold_from_s is None or not any(times[-1] >= hold_from_s for times, _ in gauges):
        return None
    measured = Interval(hold_from_s + settle_s, hold_from_s + settle_s + period_s)
    rises = [_change(times, readings, measured) for times, readings in gauges]
    known = [rise for rise in rises if rise is not None]
    drifts = [_change(times, readings, measured) for times, readings in trace.probe_readings()]
    return Leak(
        hold_from_s=hold_from_s,
        start_mbar=max(float(np.interp(hold_from_s, *gauge)) for gauge in gauges),
        measured=measured,
        rise_mbar=max(known) if len(known) == len(rises) else None,
        warmed_k=max((drift for drift in drifts if drift is not None), key=abs, default=None),
    )


def _last_lowest(times: FloatArray, readings: FloatArray) -> float:
    return float(times[np.flatnonzero(readings == readings.min())[-1]])


def _change(times: FloatArray, readings: FloatArray, over: Interval) -> float | None:
    """From the start of an interval to its end, on the line between readings; None unless both are recorded."""
    if not times[0] <= over.start_s <= over.end_s <= times[-1]:
        return None
    first = int(np.searchsorted(times, over.start_s, side="right")) - 1
    last = int(np.searchsorted(times, over.end_s, side="left"))
    if np.any(is_gap(np.diff(times[first : last + 1]))):
        return None
    start, end = np.interp([over.start_s, over.end_s], times, readings)
    return float(end - start)


def judge_leak(trace: Trace, limits: LeakLimits = USUAL, *, hold_from_s: float | None = None) -> Judgement:
    """Judge an air leakage test by its record.

    Args:
        trace: the cleaned trace of the test.
        limits: what it must show.
        hold_from_s: when the valves closed, in the seconds of the trace; None as in `find_leak`.

    Returns:
        The judgement. A rate below zero is within limits and told of: something else moved the pressure.
    """
    leak = find_leak(trace, settle_s=limits.settle_s, period_s=limits.period_s, hold_from_s=hold_from_s)
    rate = leak.rate_mbar_min if leak else None
    words = (
        f"at most {limits.most_mbar_min:g} mbar/min over {limits.period_s:g} s, "
        f"after {limits.settle_s:g} s of settling"
    )
    found = NOT_RECORDED if rate is None else f"{_not_below(rate):.2f} mbar/min over {limits.period_s:g} s"
    met = None if rate is None else rate <= limits.most_mbar_min + SAME_MBAR_MIN
    deep = None if leak is None else leak.start_mbar <= limits.deepest_mbar
    start = NOT_RECORDED if leak is None else f"{leak.start_mbar:.0f} mbar absolute"
    rows = (
        EvidenceRow("leak-rate", "Air leakage", found, words, met),
        EvidenceRow(
            "leak-start", "Pressure when it was shut off", start, f"at most {limits.deepest_mbar:g} mbar", deep
        ),
    )
    numbers = {
        "leak_rate_mbar_min": rate,
        "rise_mbar": leak.rise_mbar if leak else None,
        "hold_from_s": leak.hold_from_s if leak else None,
        "measured_from_s": leak.measured.start_s if leak else None,
        "measured_to_s": leak.measured.end_s if leak else None,
        "warmed_k": leak.warmed_k if leak else None,
    }
    findings = (*_leak_findings(leak, trace, limits), *(_plain(trace)))
    return Judgement("air leakage", rows, findings, numbers, limits.source, limits.confirm_locally)


def _not_below(rate_mbar_min: float) -> float:
    """To two places, up: what must stay under a limit never looks smaller than it is."""
    return ceil((rate_mbar_min - SAME_MBAR_MIN) * 100) / 100


def _plain(trace: Trace) -> Iterator[Finding]:
    """What the trace says of itself; that it is sampled too seldom for a short hold does not matter here."""
    yield from (finding for finding in trace.findings() if finding.slug not in ("coarse", "truncated"))


def _leak_findings(leak: Leak | None, trace: Trace, limits: LeakLimits) -> Iterator[Finding]:
    what = "Air leakage"
    if leak is None:
        sentence = "Cannot judge the air leakage: no pressure is recorded, must be."
        yield Finding("leak-not-recorded", Severity.LOOK, what, sentence, "Export the record with its pressure.")
        return
    if leak.rise_mbar is None:
        ends = trace.times_s[-1] - leak.hold_from_s
        sentence = (
            f"Cannot judge the air leakage: the record goes on for {ends:.0f} s after the chamber was shut off, "
            f"must cover {limits.settle_s + limits.period_s:.0f} s without a gap."
        )
        remedy = "State when the valves closed, if that was earlier; or run the test again."
        yield Finding("leak-not-covered", Severity.LOOK, what, sentence, remedy)
        return
    if leak.rate_mbar_min is not None and leak.rate_mbar_min < 0:
        sentence = "The pressure fell during the test: the chamber cooled, or it was not shut off."
        yield Finding("leak-below-zero", Severity.LOOK, what, sentence, "State when the valves closed.")
    if leak.warmed_k is not None and abs(leak.warmed_k) > WARMED_K:
        mean_k = ZERO_CELSIUS_K + float(np.nanmean(trace.temperatures_c))
        worth = leak.start_mbar * leak.warmed_k / mean_k
        sentence = (
            f"The temperature changed by {leak.warmed_k:+.1f} K while the rise was measured. In dry air that alone "
            f"moves the pressure by {worth:+.1f} mbar."
        )
        yield Finding("leak-temperature-drift", Severity.LOOK, what, sentence, "Repeat it with a chamber at rest.")
