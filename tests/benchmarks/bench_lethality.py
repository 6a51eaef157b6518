"""How long the integral of a million samples takes against one numpy pass over them, and what else a trace costs.

The figures are recorded in docs/algorithms/lethality.md and steam.md.
"""

from __future__ import annotations

import timeit
from collections.abc import Callable

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from reprocessing.lethality import of_samples
from reprocessing.steam import saturation_pressure_bar_abs
from reprocessing.trace import parse_trace
from reprocessing.trace_picture import trace_svg

SAMPLES = 1_000_000
MOST_PASSES = 5

NOISE = np.random.default_rng(1).normal(0, 0.3, SAMPLES)
TIMES = np.arange(float(SAMPLES))
TEMPERATURES = 75 + 20 * np.sin(TIMES / 5000) + NOISE

HOUR = "t_s,p1_c,p2_c,chamber_bar_abs\n" + "".join(
    f"{at},{134 + at % 7 / 10},{134 + at % 5 / 10},3.05\n" for at in range(3600)
)


def one_pass() -> float:
    return float(np.trapezoid(10 ** ((TEMPERATURES - 80) / 10), TIMES))


def best_s(work: Callable[[], object]) -> float:
    return min(timeit.repeat(work, number=1, repeat=9))


def test_one_numpy_pass_over_a_million_samples(benchmark: BenchmarkFixture) -> None:
    benchmark(one_pass)


def test_a0_f0_floors_and_sampling_of_a_million_samples(benchmark: BenchmarkFixture) -> None:
    benchmark(of_samples, TIMES, TEMPERATURES)
    assert best_s(lambda: of_samples(TIMES, TEMPERATURES)) <= MOST_PASSES * best_s(one_pass)


def test_saturation_pressure_of_100_000_temperatures(benchmark: BenchmarkFixture) -> None:
    benchmark(saturation_pressure_bar_abs, np.linspace(100, 140, 100_000))


def test_an_hour_of_seconds_read_and_cleaned(benchmark: BenchmarkFixture) -> None:
    benchmark(parse_trace, HOUR)


def test_an_hour_of_seconds_drawn(benchmark: BenchmarkFixture) -> None:
    trace = parse_trace(HOUR)
    benchmark(trace_svg, trace, None, title="Trace", describe="Trace")
