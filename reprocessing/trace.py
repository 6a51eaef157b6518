"""A cycle's trace: the machine's log after cleaning, with every repair flagged and nothing guessed.

The policy: rows are put in order of time; identical rows collapse; of temperatures that contradict each
other at one instant the lowest counts, of pressures none; what is missing, or beyond what a sensor can mean,
is taken away, that value only; a probe that stood still while another moved is dropped for the whole trace.
What is left is never smoothed or filled in: a step too long to be trusted is a gap, and earns nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isnan

import numpy as np
from numpy.typing import NDArray

from journal.findings import Finding, Severity
from reprocessing.trace_csv import FloatArray, Log, read_log

# Standard atmosphere at sea level (ISO 2533): for gauge pressure where the room's own is not known. A room
# 60 mbar lower is worth 0.7 K at 134 °C, so whoever uses this figure must say so.
STANDARD_AMBIENT_MBAR = 1013.25

# The limits of the cleaning policy. All are common practice, no source.
GAP_S = 30.0  # a longer step earns nothing
COARSE_S = 10.0  # a longer median step cannot show a hold of three minutes
TEMPERATURE_RANGE_C = (-20.0, 160.0)
PRESSURE_RANGE_BAR_ABS = (0.0, 10.0)
STUCK_READINGS = 30  # that many equal readings in a row ...
STUCK_WHILE_MOVED_K = 2.0  # ... while another probe moved that far
ENDED_HOT_C = 65.0  # a log that ends hotter was cut off

# Two times or temperatures nearer than this are the same: far below any log's resolution.
SAME_S = 1e-6
SAME_K = 1e-9

STUCK = "stuck_sensor"
STUCK_WORDS = "The probe {column} stood still while another moved; it was left out of the whole trace."

# What each flag says to a person, in the order in which flags are given.
FLAG_WORDS: dict[str, tuple[Severity, str]] = {
    "duplicate_rows": (Severity.NOTE, "Rows of the same time and readings were counted once."),
    "conflicting_duplicates": (
        Severity.LOOK,
        "Rows of the same time contradict each other; the lowest temperature was kept.",
    ),
    "missing_values": (Severity.NOTE, "Readings are missing; each was left out by itself."),
    "out_of_range": (Severity.LOOK, "Readings beyond what the sensor can mean were left out."),
    "gap": (Severity.LOOK, "The record has gaps of more than 30 s; nothing is counted in them."),
    "coarse": (
        Severity.LOOK,
        "Half of the readings or more are over 10 s apart; a short hold cannot be shown.",
    ),
    "unsorted": (Severity.NOTE, "Rows were out of order; they were put in order of time."),
    "unit_converted": (Severity.NOTE, "Temperatures were converted from degrees Fahrenheit."),
    "decimal_comma": (Severity.NOTE, "Numbers are written with a decimal comma."),
    "dst_fold": (Severity.NOTE, "The wall clock stepped back an hour; rows stand in the order of the file."),
    "truncated": (Severity.LOOK, "The record ends above 65 °C; the end of the cycle may be missing."),
}


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What a machine recorded of one cycle, cleaned.

    Args:
        times_s: (n,) strictly increasing [s].
        temperatures_c: (n, probes) readings of the healthy probes [°C]; NaN where there is none.
        probes: their names.
        pressures_bar_abs: (n, gauges) readings [bar absolute]; NaN where there is none.
        gauges: their names.
        flags: what was found and repaired, in the order of `FLAG_WORDS`, then `stuck_sensor:NAME`.
        started_at: the moment of second 0, in UTC; None when the log does not say.
        started_local: wall clock of second 0, where the log gives one without offset.
        ambient_mbar: air pressure that was added to gauge readings; None when there were none.
        ignored: columns of the log that were not read.
        silent: probes and gauges that have left no reading, and do not count.

    Raises:
        ValueError: times do not increase, or shapes differ.
    """

    times_s: FloatArray
    temperatures_c: FloatArray
    probes: tuple[str, ...]
    pressures_bar_abs: FloatArray
    gauges: tuple[str, ...]
    flags: tuple[str, ...] = ()
    started_at: datetime | None = None
    started_local: datetime | None = None
    ambient_mbar: float | None = None
    ignored: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        rows = self.times_s.size
        if self.times_s.shape != (rows,) or np.any(np.diff(self.times_s) <= 0):
            raise ValueError("A trace needs times that increase.")
        if self.temperatures_c.shape != (rows, len(self.probes)):
            raise ValueError("A trace needs one temperature, or NaN, of each probe at each time.")
        if self.pressures_bar_abs.shape != (rows, len(self.gauges)):
            raise ValueError("A trace needs one pressure, or NaN, of each gauge at each time.")
        for array in (self.times_s, self.temperatures_c, self.pressures_bar_abs):
            array.setflags(write=False)

    @property
    def has_readings(self) -> bool:
        """Whether any healthy probe has left a reading."""
        return not np.all(np.isnan(self.temperatures_c))

    def probe_readings(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        """Times [s] and temperatures [°C] of each probe, without what is missing."""
        return _readings(self.times_s, self.temperatures_c)

    def pressure_readings(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        """Times [s] and pressures [bar absolute] of each gauge, without what is missing."""
        return _readings(self.times_s, self.pressures_bar_abs)

    def findings(self) -> tuple[Finding, ...]:
        """What whoever judges the trace must know of it, in words: its flags, and what was assumed."""
        return (*(_finding(flag) for flag in self.flags), *_assumptions(self))


NO_TRACE = Trace(np.empty(0), np.empty((0, 0)), (), np.empty((0, 0)), ())


def is_gap(steps_s: FloatArray) -> NDArray[np.bool_]:
    """Which steps are too long to earn anything."""
    return steps_s > GAP_S + SAME_S


def median_step_s(steps_s: FloatArray) -> float | None:
    """Median step, gaps included [s]; None where there is none."""
    return float(np.median(steps_s)) if steps_s.size else None


def is_coarse(median_s: float) -> bool:
    """Whether a median step is too long to show a short hold."""
    return median_s > COARSE_S + SAME_S


def parse_trace(content: bytes | str, *, ambient_mbar: float | None = None) -> Trace:
    """Read a machine's log and clean it.

    Args:
        content: the CSV file as received, or its text; columns and shapes in docs/algorithms/lethality.md.
        ambient_mbar: air pressure of the room, needed when a column holds gauge pressure [mbar];
            `STANDARD_AMBIENT_MBAR` where nobody knows better, and then to be told to whoever judges.

    Returns:
        The trace, with a flag for whatever was found and repaired.

    Raises:
        ValueError: the text is no such log; the sentence names line, column, value and what was expected.
    """
    return clean(read_log(content, ambient_mbar=ambient_mbar))


def clean(log: Log) -> Trace:
    """Clean a log by the policy above.

    Args:
        log: a log in the order of its file.

    Returns:
        The trace. It may be left without any healthy probe; it then earns nothing.
    """
    flags = set(log.flags)
    temperatures = _within(log.temperatures_c, TEMPERATURE_RANGE_C, flags)
    pressures = _within(log.pressures_bar_abs, PRESSURE_RANGE_BAR_ABS, flags)
    if np.any(np.diff(log.seconds) < 0):
        flags.add("unsorted")
    times, temperatures, pressures = _one_row_each(log.seconds, temperatures, pressures, flags)
    stuck = _stuck(times, temperatures)
    healthy = [at for at in _speaking(temperatures) if at not in stuck]
    recording = _speaking(pressures)
    flags |= _flags_of_the_rest(times, temperatures[:, healthy])
    heard = {*(log.probes[at] for at in (*healthy, *stuck)), *(log.gauges[at] for at in recording)}
    return Trace(
        times_s=times,
        temperatures_c=temperatures[:, healthy],
        probes=tuple(log.probes[at] for at in healthy),
        pressures_bar_abs=pressures[:, recording],
        gauges=tuple(log.gauges[at] for at in recording),
        flags=(*(flag for flag in FLAG_WORDS if flag in flags), *(f"{STUCK}:{log.probes[at]}" for at in stuck)),
        started_at=log.started_at,
        started_local=log.started_local,
        ambient_mbar=log.ambient_mbar,
        ignored=log.ignored,
        silent=tuple(name for name in (*log.probes, *log.gauges) if name not in heard),
    )


def _speaking(columns: FloatArray) -> list[int]:
    """Positions of the columns that have a reading."""
    return np.flatnonzero(~np.all(np.isnan(columns), axis=0)).tolist()


def _readings(times_s: FloatArray, columns: FloatArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    for readings in columns.T:
        there = ~np.isnan(readings)
        yield times_s[there], readings[there]


def _finding(flag: str) -> Finding:
    slug, _, column = flag.partition(":")
    severity, words = FLAG_WORDS.get(slug, (Severity.LOOK, STUCK_WORDS.format(column=column)))
    return Finding(slug.replace("_", "-"), severity, column or "trace", words)


def _assumptions(trace: Trace) -> Iterator[Finding]:
    if trace.ambient_mbar is not None:
        standard = trace.ambient_mbar == STANDARD_AMBIENT_MBAR
        severity = Severity.LOOK if standard else Severity.NOTE
        whose = "the standard atmosphere, which may not be the room's" if standard else "the room's air pressure"
        words = f"Gauge pressure was made absolute by adding {trace.ambient_mbar:g} mbar, {whose}."
        yield Finding("gauge-pressure", severity, "trace", words)
    if trace.silent:
        words = f"Without a single reading, and left out: {', '.join(trace.silent)}."
        yield Finding("silent-sensor", Severity.LOOK, "trace", words)
    if trace.ignored:
        words = f"Columns that were not read: {', '.join(trace.ignored)}."
        yield Finding("columns-not-read", Severity.NOTE, "trace", words)


def _within(readings: FloatArray, limits: tuple[float, float], flags: set[str]) -> FloatArray:
    """The readings without those outside the limits; flags these, and what was missing before."""
    low, high = limits
    outside = (readings < low) | (readings > high)
    if np.any(np.isnan(readings)):
        flags.add("missing_values")
    if np.any(outside):
        flags.add("out_of_range")
    return np.where(outside, np.nan, readings)


def _one_row_each(
    seconds: FloatArray, temperatures: FloatArray, pressures: FloatArray, flags: set[str]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rows in order of time, those of one time made one."""
    order = np.argsort(seconds, kind="stable")
    seconds, temperatures, pressures = seconds[order], temperatures[order], pressures[order]
    times, first, counts = np.unique(seconds, return_index=True, return_counts=True)
    kept_temperatures, kept_pressures = temperatures[first], pressures[first]
    for at in np.flatnonzero(counts > 1):
        rows = slice(first[at], first[at] + counts[at])
        flags |= _repetition(np.hstack([temperatures[rows], pressures[rows]]))
        kept_temperatures[at] = [_lowest(column) for column in temperatures[rows].T]
        kept_pressures[at] = [_agreed(column) for column in pressures[rows].T]
    return times, kept_temperatures, kept_pressures


def _repetition(rows: FloatArray) -> set[str]:
    """What rows of one time are to each other; rows that complete each other are neither."""
    distinct = {tuple(None if isnan(reading) else reading for reading in row) for row in rows.tolist()}
    columns = [[reading for reading in column if reading is not None] for column in zip(*distinct, strict=True)]
    conflict = any(len(set(column)) > 1 for column in columns)
    shared = any(len(column) > 1 for column in columns)
    found = set()
    if conflict:
        found.add("conflicting_duplicates")
    if len(distinct) < len(rows) or (shared and not conflict):
        found.add("duplicate_rows")
    return found


def _lowest(readings: FloatArray) -> float:
    return float(np.nanmin(readings)) if not np.all(np.isnan(readings)) else np.nan


def _agreed(readings: FloatArray) -> float:
    values = np.unique(readings[~np.isnan(readings)])
    return float(values[0]) if values.size == 1 else np.nan


def _stuck(times: FloatArray, temperatures: FloatArray) -> tuple[int, ...]:
    """Positions of the probes that stood still while another moved."""
    probes = list(_readings(times, temperatures))
    return tuple(at for at in range(len(probes)) if _stood_still(probes[at], [*probes[:at], *probes[at + 1 :]]))


def _stood_still(probe: tuple[FloatArray, FloatArray], others: Sequence[tuple[FloatArray, FloatArray]]) -> bool:
    times, readings = probe
    changes = np.flatnonzero(np.diff(readings) != 0)
    starts = np.concatenate([[0], changes + 1])
    ends = np.concatenate([changes, [readings.size - 1]])
    for start, end in zip(starts, ends, strict=True):
        if end - start + 1 < STUCK_READINGS:
            continue
        for other_times, other in others:
            meanwhile = other[(other_times >= times[start]) & (other_times <= times[end])]
            if meanwhile.size and np.ptp(meanwhile) >= STUCK_WHILE_MOVED_K - SAME_K:
                return True
    return False


def _flags_of_the_rest(times: FloatArray, temperatures: FloatArray) -> set[str]:
    """Flags of what is left after cleaning."""
    found = set()
    for probe_times, _ in _readings(times, temperatures):
        steps = np.diff(probe_times)
        if np.any(is_gap(steps)):
            found.add("gap")
        median_s = median_step_s(steps)
        if median_s is not None and is_coarse(median_s):
            found.add("coarse")
    recorded = np.flatnonzero(~np.all(np.isnan(temperatures), axis=1))
    if recorded.size and np.nanmax(temperatures[recorded[-1]]) > ENDED_HOT_C:
        found.add("truncated")
    return found
