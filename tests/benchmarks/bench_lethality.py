"""How long the integral of a million samples takes against one numpy pass over them, and what else a trace costs.

The figures are recorded in docs/algorithms/lethality.md and steam.md.
"""

from __future__ import annotations

import timeit

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from reprocessing.lethality import Lethality, of_samples
from reprocessing.steam import saturation_pressure_bar_abs
from reprocessing.trace import parse_trace
from reprocessing.trace_picture import trace_svg

SAMPLES = 1_000_000
MOST_PASSES = 5
TURNS = 30

NOISE = np.random.default_rng(1).normal(0, 0.3, SAMPLES)
TIMES = np.arange(float(SAMPLES))
TEMPERATURES = 75 + 20 * np.sin(TIMES / 5000) + NOISE

HOUR = "t_s,p1_c,p2_c,chamber_bar_abs\n" + "".join(
    f"{at},{134 + at % 7 / 10},{134 + at % 5 / 10},3.05\n" for at in range(3600)
)


def one_pass() -> float:
    return float(np.trapezoid(10 ** ((TEMPERATURES - 80) / 10), TIMES))


def integral() -> Lethality:
    return of_samples(TIMES, TEMPERATURES)


def passes() -> float:
    """How many numpy passes the integral takes: best of each, measured in turns, since other work comes and goes."""
    turns = [(timeit.timeit(integral, number=1), timeit.timeit(one_pass, number=1)) for _ in range(TURNS)]
    return min(time for time, _ in turns) / min(time for _, time in turns)


def test_one_numpy_pass_over_a_million_samples(benchmark: BenchmarkFixture) -> None:
    benchmark(one_pass)


def test_a0_f0_floors_and_sampling_of_a_million_samples(benchmark: BenchmarkFixture) -> None:
    benchmark(integral)
    assert passes() <= MOST_PASSES


def test_saturation_pressure_of_100_000_temperatures(benchmark: BenchmarkFixture) -> None:
    benchmark(saturation_pressure_bar_abs, np.linspace(100, 140, 100_000))


def test_an_hour_of_seconds_read_and_cleaned(benchmark: BenchmarkFixture) -> None:
    benchmark(parse_trace, HOUR)


def test_an_hour_of_seconds_drawn(benchmark: BenchmarkFixture) -> None:
    trace = parse_trace(HOUR)
    benchmark(trace_svg, trace, None, title="Trace", describe="Trace")
