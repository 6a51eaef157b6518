"""Pulses and drying on courses drawn by hand, and the rows of a judgement that come of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reprocessing.judging import judge_steam
from reprocessing.limits import VacuumLimits
from reprocessing.trace import NO_TRACE, Trace, parse_trace
from reprocessing.vacuum import count_pulses, find_drying
from tests.reprocessing.test_judging import STEAM_134, steam_trace

TRACES = Path(__file__).parents[2] / "fixtures" / "traces"


def course(*mbar: float, step_s: float = 10.0, gauges: int = 1) -> Trace:
    column = np.array(mbar, dtype=np.float64)[:, None] / 1000
    times = np.arange(len(mbar), dtype=np.float64) * step_s
    names = tuple(f"g{at}" for at in range(gauges))
    return Trace(
        times, np.full((len(mbar), 1), 134.5, dtype=np.float64), ("p",), np.repeat(column, gauges, axis=1), names
    )


@pytest.mark.parametrize(
    ("mbar", "count"),
    [
        ((1000, 100, 1500, 100, 1500, 100, 3000), 3),
        ((1000, 100, 250, 100, 299, 100, 3000), 1),  # a pump that works is no pulse
        ((1000, 101, 1500, 100, 1500, 100), 1),  # the first is not deep enough, the last has no steam after it
        ((1000, 900, 3000), 0),
    ],
)
def test_a_pulse_is_a_depth_with_steam_after_it(mbar: tuple[float, ...], count: int) -> None:
    assert count_pulses(course(*mbar), depth_mbar=100, until_s=len(mbar) * 10) == count


def test_pulses_after_the_moment_do_not_count() -> None:
    assert count_pulses(course(1000, 100, 1500, 3000, 100, 1500), depth_mbar=100, until_s=30) == 1


def test_what_was_not_recorded_is_not_counted() -> None:
    pulses = course(1000, 100, 1500, 3000, step_s=40)
    assert count_pulses(pulses, depth_mbar=100, until_s=120) is None
    assert count_pulses(course(1000, 100, 1500), depth_mbar=100, until_s=500) is None
    assert count_pulses(course(1000), depth_mbar=100, until_s=-5) is None
    assert count_pulses(NO_TRACE, depth_mbar=100, until_s=10) is None
    assert find_drying(NO_TRACE, depth_mbar=100, from_s=0) is None
    assert find_drying(course(1000, 50), depth_mbar=100, from_s=10) is None


def test_drying_is_the_longest_time_at_its_depth() -> None:
    found = find_drying(course(3000, 90, 80, 120, 70, 60, 65, 1000, gauges=2), depth_mbar=100, from_s=0)
    assert found is not None
    assert (found.lowest_mbar, found.under and found.under.length_s) == (60, 20)
    shallow = find_drying(course(3000, 300, 250), depth_mbar=100, from_s=0)
    assert shallow is not None
    assert (shallow.lowest_mbar, shallow.under) == (250, None)


def test_a_gap_ends_the_drying() -> None:
    found = find_drying(course(3000, 50, 50, step_s=40), depth_mbar=100, from_s=0)
    assert found is not None
    assert found.under is not None
    assert found.under.length_s == 0


DEMANDED = VacuumLimits(pulses=3, pulse_mbar=300, drying_s=300, drying_mbar=100)


def rows(trace: Trace, vacuum: VacuumLimits = DEMANDED) -> dict[str, tuple[str, bool | None]]:
    judgement = judge_steam(trace, replace(STEAM_134, vacuum=vacuum))
    return {row.slug: (row.value, row.met) for row in judgement.rows if row.slug in ("pulses", "drying")}


def test_rows_stand_only_where_the_programme_demands_them() -> None:
    """Three pulses and a drying: fixtures/traces/README.md. At 50 mbar or below it never is for 5 min."""
    trace = parse_trace((TRACES / "steam_134_good.csv").read_bytes())
    assert rows(trace, VacuumLimits()) == {}
    found = rows(trace)
    assert found["pulses"] == ("3", True)
    assert found["drying"][1] is True
    deeper = rows(trace, VacuumLimits(pulses=4, pulse_mbar=300, drying_s=300, drying_mbar=40))
    assert (deeper["pulses"][1], deeper["drying"][1]) == (False, False)
    assert deeper["drying"][0].startswith("0s, lowest ")


def test_rows_of_what_is_not_there() -> None:
    assert set(rows(NO_TRACE).values()) == {("Not recorded", None)}
    assert set(rows(steam_trace(plateau_c=130.0)).values()) == {("No plateau", False)}
    assert rows(steam_trace(gauges=0)) == {"pulses": ("Not recorded", None), "drying": ("Not recorded", None)}


@pytest.mark.parametrize("fields", [{"pulses": 3}, {"drying_mbar": 100.0}, {"pulses": 0, "pulse_mbar": 100.0}])
def test_half_a_demand_is_refused(fields: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"vacuum"):
        VacuumLimits(**fields)  # type: ignore[arg-type]
