"""The air leakage test against its published limit, in three units, and what a record may hide."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reprocessing.leakage import USUAL, Leak, find_leak, judge_leak
from reprocessing.trace import NO_TRACE, Trace


def chamber(
    rate_mbar_min: float,
    *,
    start_mbar: float = 60.0,
    hold_s: float = 1000.0,
    celsius: tuple[float, float] = (40.0, 40.0),
    gap: tuple[float, float] = (0.0, 0.0),
) -> Trace:
    """Pumped down for 200 s, then shut off: a reading every 5 s."""
    times = np.arange(0.0, 200.0 + hold_s + 1, 5.0)
    times = times[(times <= gap[0]) | (times >= gap[1])]
    falling = 1000.0 - (1000.0 - start_mbar) * np.minimum(times, 200.0) / 200.0
    mbar = falling + np.maximum(times - 200.0, 0.0) * rate_mbar_min / 60
    warm = np.interp(times, [times[0], times[-1]], celsius)
    return Trace(times, warm[:, None], ("p1_c",), (mbar / 1000)[:, None], ("chamber_mbar_abs",))


def rate(trace: Trace) -> float | None:
    return judge_leak(trace).numbers["leak_rate_mbar_min"]


def test_the_limit_is_a_rise_of_13_mbar_over_ten_minutes() -> None:
    """1.3 mbar/min over 600 s after 300 s: EN 285 and HTM 2010, read second-hand. 13 mbar alone says nothing."""
    judgement = judge_leak(chamber(1.3))
    assert judgement.numbers["rise_mbar"] == pytest.approx(13.0, rel=1e-9)
    assert judgement.within_limits
    assert judgement.rows[0].value == "1.30 mbar/min over 600 s"
    assert judgement.confirm_locally


@pytest.mark.parametrize(
    ("mbar_min", "within"),
    [
        (0.13 * 10, True),  # 0.13 kPa/min is the same limit
        (1.33322387415 * 1.0, False),  # 1.0 mmHg/min, by the definition of the conventional millimetre of mercury
        (1.301, False),
        (0.001, True),
    ],
)
def test_rates_in_other_units(mbar_min: float, *, within: bool) -> None:
    assert judge_leak(chamber(mbar_min)).within_limits is within


def test_settling_is_left_out() -> None:
    """Water that dries off in the first minutes raises the pressure fast; it is no leak."""
    trace = chamber(0.5)
    mbar = trace.pressures_bar_abs[:, 0] + 0.020 * np.clip((trace.times_s - 200) / 250, 0, 1)
    wet = replace(trace, pressures_bar_abs=mbar[:, None])
    assert rate(wet) == pytest.approx(0.5, rel=1e-9)


def test_readings_are_taken_on_the_line_between_them() -> None:
    leak = find_leak(chamber(1.0), settle_s=301.0, period_s=597.0)
    assert isinstance(leak, Leak)
    assert (leak.measured.start_s, leak.measured.end_s) == (501.0, 1098.0)
    assert leak.rise_mbar == pytest.approx(9.95, rel=1e-9)


@pytest.mark.parametrize(
    "trace", [chamber(1.0, hold_s=890), chamber(1.0, gap=(700, 760))], ids=["too short", "a gap in the period"]
)
def test_a_record_that_does_not_cover_the_period_gives_no_rate(trace: Trace) -> None:
    judgement = judge_leak(trace)
    assert judgement.rows[0].met is None
    assert [finding.slug for finding in judgement.findings] == ["leak-not-covered"]


def test_a_gap_before_the_period_does_not_matter() -> None:
    assert rate(chamber(1.0, gap=(300, 400))) == pytest.approx(1.0)


def test_the_moment_of_shutting_off_may_be_stated() -> None:
    """A tight chamber that cools a little has its lowest reading late; then a person says when it was shut off."""
    tight = chamber(-0.01)
    assert judge_leak(tight).rows[0].met is None
    judgement = judge_leak(tight, hold_from_s=200.0)
    assert judgement.rows[0].met is True
    assert "leak-below-zero" in {finding.slug for finding in judgement.findings}


def test_a_vacuum_that_was_not_deep_is_told() -> None:
    judgement = judge_leak(chamber(0.5, start_mbar=90))
    assert [row.met for row in judgement.rows] == [True, False]


def test_drift_of_the_temperature_is_told_with_its_worth() -> None:
    """Dry air at constant volume, p/T constant: 60 mbar at 310 K warmed by 6 K gain 1.16 mbar."""
    (finding,) = judge_leak(chamber(0.5, celsius=(31.85, 41.85))).findings
    assert finding.slug == "leak-temperature-drift"
    assert "+5.0 K" in finding.sentence
    assert "+1.0 mbar" in finding.sentence


def test_of_several_gauges_the_fastest_counts() -> None:
    slow, fast = chamber(0.2), chamber(1.5)
    both = np.hstack([slow.pressures_bar_abs, fast.pressures_bar_abs])
    trace = Trace(slow.times_s, slow.temperatures_c, slow.probes, both, ("a", "b"))
    assert rate(trace) == pytest.approx(1.5)


def test_without_pressure_there_is_nothing_to_judge() -> None:
    judgement = judge_leak(NO_TRACE)
    assert [row.met for row in judgement.rows] == [None, None]
    assert [finding.slug for finding in judgement.findings] == ["leak-not-recorded"]
    assert judge_leak(chamber(1.0), hold_from_s=9999).rows[0].met is None


@pytest.mark.parametrize("fields", [{"most_mbar_min": 0}, {"settle_s": -1}, {"source": ""}])
def test_malformed_limits_are_refused(fields: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"limit|Limits"):
        replace(USUAL, **fields)  # type: ignore[arg-type]
