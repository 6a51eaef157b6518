"""What the best choice of trays costs and gains against taking them in order of weight from the shelf.

The figures are recorded in docs/algorithms/complete-trays.md.
"""

from __future__ import annotations

import timeit
from collections import Counter
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tests.trays.completing import Question, check, unit
from trays.completion import Completion, complete_trays

MOST_S = 5.0
MOST_GREEDY = 1000
TURNS = 3
SHARES = {"a full shelf, half wanted": (0.5, 0.5), "a scant shelf": (0.1, 0.7), "nearly all wanted": (0.1, 0.9)}


def greedy(question: Question) -> tuple[float, int]:
    """Weight and moves when the weightiest tray with the fewest gaps comes first, from the shelf alone."""
    trays, spare, demands = question
    left = Counter(spare)
    short = {name: demand.needed for name, demand in demands.items()}
    for tray in trays:
        short[tray.template] -= not tray.gaps
    weight, moves = 0.0, 0
    for tray in sorted(trays, key=lambda tray: (-demands[tray.template].weight, len(tray.gaps))):
        takes: Counter[str] = Counter()
        for gap in tray.gaps:
            takes.update([part for part in gap.accepts if left[part] > takes[part]][:1])
        if tray.gaps and short[tray.template] > 0 and takes.total() == len(tray.gaps):
            left -= takes
            short[tray.template] -= 1
            weight, moves = weight + demands[tray.template].weight, moves + len(tray.gaps)
    return weight, moves


def rounds(benchmark: Any, question: Question) -> Completion:
    found: Completion = benchmark.pedantic(
        complete_trays, args=question, kwargs={"longest_s": MOST_S}, rounds=TURNS, warmup_rounds=1
    )
    return found


@pytest.mark.parametrize("shares", SHARES)
def test_2000_trays_of_40(benchmark: BenchmarkFixture, shares: str) -> None:
    shelf, wanted = SHARES[shares]
    question = unit(1, trays=2000, slots=40, parts=400, templates=60, missing=0.03, shelf=shelf, wanted=wanted)
    baseline_s = min(timeit.repeat(lambda: greedy(question), number=1, repeat=TURNS))
    found = rounds(benchmark, question)
    check(question, found)
    assert found.proven
    weight, moves = greedy(question)
    assert found.weight >= weight
    assert benchmark.stats is not None
    best_s = benchmark.stats["min"]
    benchmark.extra_info |= {
        "greedy_s": baseline_s,
        "times_greedy": best_s / baseline_s,
        "weight": found.weight,
        "moves": found.moves,
        "greedy_weight": weight,
        "greedy_moves": moves,
    }
    assert best_s <= MOST_S
    assert best_s <= MOST_GREEDY * baseline_s
