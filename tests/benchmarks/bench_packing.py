"""What a first, uncached answer costs against one descent of six discs, and what tables of many cost against one pass.

The figures are recorded in docs/algorithms/co-passage.md.
"""

from __future__ import annotations

import statistics
import time
import timeit
from collections.abc import Callable
from functools import partial
from itertools import cycle
from typing import Any

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from instruments.descent import Descent
from instruments.fit import Dimension, co_passage
from instruments.fit_matrix import clearances_mm, pairs_per_bore
from instruments.packing import fits_within, forget
from instruments.together import required_bores_mm

CASES = 40
MOST_DESCENTS = {1: 0.5, 2: 0.5, 3: 0.5, 4: 1, 5: 150, 6: 500}
MOST_PASSES = {"matrix": 30, "pairs": 60, "triples": 150}  # of a table, over one pass of numpy over a million figures
RANDOM = np.random.default_rng(1)
MANY = 1000
BORES = RANDOM.uniform(3, 12, MANY)
SHAFTS = RANDOM.uniform(1, 6, MANY)
TRIPLES = RANDOM.uniform(1, 6, (MANY * MANY, 3))
DIMENSIONS = [[Dimension(figure, 0.05) for figure in row] for row in (BORES.tolist(), SHAFTS.tolist())]


def seconds(work: Callable[[], object]) -> float:
    """Of the processor, so that what else the machine does falls out."""
    return timeit.timeit(work, timer=time.process_time, number=1)


def rounds(benchmark: Any, work: Callable[[], object], count: int) -> None:
    benchmark.pedantic(work, rounds=count)


def one_descent() -> float:
    """Seconds of one descent of six discs, the best of many: what the machine can do now."""
    descent = Descent([1, 0.95, 0.9, 0.85, 0.8, 0.75])
    start = [3 * complex(np.cos(turn), np.sin(turn)) for turn in range(6)]
    return min(seconds(lambda: descent.settle(start, 4)) for _ in range(20))


@pytest.mark.parametrize("count", MOST_DESCENTS)
def test_a_first_answer(benchmark: BenchmarkFixture, count: int) -> None:
    """With the store of answers empty; asked again, each is there at once."""
    cases = [RANDOM.uniform(1, 6, count).tolist() for _ in range(CASES)]
    descent = one_descent()
    forget()
    times, again = ([seconds(partial(co_passage, 9.2, shafts, 0.2)) for shafts in cases] for _ in range(2))
    assert statistics.median(times) <= MOST_DESCENTS[count] * descent
    assert statistics.median(again) <= min(statistics.median(times), 0.5 * descent)
    fresh = iter(RANDOM.uniform(1, 6, (CASES, count)).tolist())
    rounds(benchmark, lambda: co_passage(9.2, next(fresh), 0.2), CASES)


def test_a_verdict_on_six_in_a_bore_of_any_width(benchmark: BenchmarkFixture) -> None:
    """Bounds decide most; what lies between them is searched for, and counted here with the rest."""
    cases = cycle(zip(RANDOM.uniform(0.5, 3, (200, 6)).tolist(), RANDOM.uniform(4, 10, 200).tolist(), strict=True))
    rounds(benchmark, lambda: fits_within(*next(cases)), 200)


@pytest.mark.parametrize("table", MOST_PASSES)
def test_a_table_costs_a_few_passes(table: str) -> None:
    tables: dict[str, Callable[[], object]] = {
        "matrix": lambda: clearances_mm(DIMENSIONS[0], DIMENSIONS[1], 0.2),
        "pairs": lambda: pairs_per_bore(BORES, SHAFTS, 0.2),
        "triples": lambda: required_bores_mm(TRIPLES, 0.2),
    }
    one_pass = min(seconds(lambda: BORES[:, np.newaxis] - SHAFTS) for _ in range(20))
    assert min(seconds(tables[table]) for _ in range(7)) <= MOST_PASSES[table] * one_pass


def test_an_answer_asked_for_again(benchmark: BenchmarkFixture) -> None:
    shafts = [2.24, 1.96, 1.92, 1.66, 1.62, 1.6]
    co_passage(9.2, shafts, 0.2)
    benchmark(co_passage, 9.2, shafts, 0.2)


def test_one_pass_over_a_million(benchmark: BenchmarkFixture) -> None:
    benchmark(lambda: BORES[:, np.newaxis] - SHAFTS)


def test_1000_shafts_in_1000_bores(benchmark: BenchmarkFixture) -> None:
    benchmark(clearances_mm, *DIMENSIONS, 0.2)


def test_a_million_triples(benchmark: BenchmarkFixture) -> None:
    benchmark(required_bores_mm, TRIPLES, 0.2)


def test_499_500_pairs_in_1000_bores(benchmark: BenchmarkFixture) -> None:
    benchmark(pairs_per_bore, BORES, SHAFTS, 0.2)
