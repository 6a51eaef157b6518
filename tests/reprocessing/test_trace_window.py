"""The readings of a stretch of a trace, and the ranges of its phases."""

from __future__ import annotations

from itertools import pairwise
from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from reprocessing.plateau import Interval
from reprocessing.trace import GAP_S, NO_TRACE, Trace
from reprocessing.trace_phases import Phase
from reprocessing.trace_picture import SLIVERS
from reprocessing.trace_window import BAR_ABS, CELSIUS, Range, Window, ranges_of, window_of


def trace_at(times_s: list[float], celsius: list[float], bar: list[float] | None = None) -> Trace:
    pressures = np.array(bar)[:, None] if bar is not None else np.empty((len(times_s), 0))
    return Trace(np.array(times_s), np.array(celsius)[:, None], ("p1_c",), pressures, ("chamber",) if bar else ())


def ramp(count: int, *, step_s: float = 1.0, start_s: float = 0.0) -> Trace:
    return trace_at([start_s + step_s * k for k in range(count)], [20.0 + k for k in range(count)])


def celsius(window: Window) -> list[float]:
    return [float(value) for value in window.columns[0].values]


def test_the_whole_of_a_short_record_is_every_reading_counted_from_the_first() -> None:
    window = window_of(trace_at([50, 51, 53], [20, 21, 22], [1.0, 1.5, 2.0]))
    assert window.times_s.tolist() == [0, 1, 3]
    assert [(column.name, column.unit, column.values.tolist()) for column in window.columns] == [
        ("p1_c", CELSIUS, [20, 21, 22]),
        ("chamber", BAR_ABS, [1.0, 1.5, 2.0]),
    ]
    assert not window.thinned


def test_a_stretch_has_the_reading_before_and_after_it_so_that_its_lines_reach_its_ends() -> None:
    assert window_of(ramp(20, start_s=7), from_s=4.5, to_s=6.5).times_s.tolist() == [4, 5, 6, 7]
    assert window_of(ramp(20), from_s=4, to_s=6).times_s.tolist() == [4, 5, 6]


def test_a_stretch_beyond_the_record_shows_what_is_nearest() -> None:
    assert window_of(ramp(3), from_s=100, to_s=200).times_s.tolist() == [2]
    assert window_of(ramp(3), from_s=-20, to_s=-10).times_s.tolist() == [0]


def test_a_record_without_readings_has_an_empty_stretch() -> None:
    assert window_of(NO_TRACE).times_s.size == 0


@pytest.mark.parametrize("to_s", [3, 5, float("nan")])
def test_a_stretch_that_does_not_last_is_refused(to_s: float) -> None:
    with pytest.raises(ValueError, match="end must be later than the start, 5 s"):
        window_of(ramp(20), from_s=5, to_s=to_s)


def test_a_gap_parts_the_line() -> None:
    window = window_of(trace_at([0, 1, 1 + GAP_S + 10, 60], [20, 21, 22, 23]))
    assert window.times_s.tolist() == [0, 1, 21, 41, 60]
    assert [isnan(value) for value in celsius(window)] == [False, False, True, False, False]


def test_of_a_long_stretch_no_peak_is_lost_and_a_closer_look_shows_every_reading() -> None:
    count = 100_000
    values = 90.0 + np.sin(np.arange(count) / 5e3)
    values[[12_345, 87_654]] = 140.0, 20.0
    trace = Trace(np.arange(count, dtype=float), values[:, None], ("p1_c",), np.empty((count, 0)), ())
    whole = window_of(trace)
    assert whole.thinned
    assert whole.times_s.size <= 2 * SLIVERS + 2
    assert (max(celsius(whole)), min(celsius(whole))) == (140.0, 20.0)
    closer = window_of(trace, from_s=12_300, to_s=12_400)
    assert not closer.thinned
    assert celsius(closer) == values[12_300:12_401].tolist()


def test_gaps_of_a_thinned_stretch_stay_where_they_are() -> None:
    times = np.concatenate((np.arange(5_000), np.arange(6_000, 11_000))).astype(float)
    trace = Trace(times, np.sin(times)[:, None], ("p1_c",), np.empty((times.size, 0)), ())
    window = window_of(trace)
    broken = np.flatnonzero(np.isnan(window.columns[0].values))
    assert window.times_s[broken].tolist() == [5_499.5]
    assert window.times_s[broken - 1].tolist() == [4_999]
    assert window.times_s[broken + 1].tolist() == [6_000]


@given(
    steps=some.lists(some.floats(0.1, 40), min_size=1, max_size=60),
    ends=some.tuples(some.floats(0, 900), some.floats(0.1, 900)),
)
def test_a_stretch_has_each_of_its_readings_and_a_break_for_each_of_its_gaps(
    steps: list[float], ends: tuple[float, float]
) -> None:
    times = np.concatenate(([0.0], np.cumsum(steps)))
    trace = Trace(times, np.arange(times.size, dtype=float)[:, None], ("p1_c",), np.empty((times.size, 0)), ())
    from_s, to_s = ends[0], ends[0] + ends[1]
    window = window_of(trace, from_s=from_s, to_s=to_s)
    there = ~np.isnan(window.columns[0].values)
    assert np.all(np.diff(window.times_s) > 0)
    shown = window.times_s[there].tolist()
    assert [at for at in times.tolist() if from_s <= at <= to_s] == [at for at in shown if from_s <= at <= to_s]
    assert np.count_nonzero(~there) == sum(later - earlier > GAP_S + 1e-6 for earlier, later in pairwise(shown))


def test_a_phase_ranges_from_its_lowest_to_its_highest_reading() -> None:
    trace = trace_at([0, 1, 2, 3], [20, 134.2, 135, 60], [1.0, 3.1, 3.0, 1.2])
    phase = Phase("Exposure", Interval(1, 2))
    assert ranges_of(trace, phase) == (Range(134.2, 135), Range(3.0, 3.1))


def test_a_probe_that_left_no_reading_in_a_phase_has_no_range() -> None:
    trace = trace_at([0, 1, 2], [20, float("nan"), 60])
    assert ranges_of(trace, Phase("Exposure", Interval(1, 1.5))) == (Range(None, None),)
