"""What the readiness of a day takes in a large unit, against hand-written SQL that gives the same verdicts.

Sixty cases over 2000 trays and 100 000 pieces. The figures are recorded in docs/algorithms/readiness.md.
"""

from __future__ import annotations

import timeit
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_benchmark.fixture import BenchmarkFixture

from instruments.models import Piece
from lists.reads.readiness import DayReadiness, list_readiness
from tests.benchmarks import large_unit, readiness_by_sql

MOST_TIMES = 3.0
"""So many times the SQL at most."""
TURNS = 5


@pytest.mark.django_db
def test_a_day_of_sixty_cases(benchmark: BenchmarkFixture) -> None:
    large_unit.Unit(1).write()
    day, now = large_unit.DAY, large_unit.NOW
    by_sql = readiness_by_sql.readiness(day, now)
    baseline_s = min(timeit.repeat(lambda: readiness_by_sql.readiness(day, now), number=1, repeat=TURNS))
    found = rounds(benchmark)
    assert readiness_by_sql.told(found) == by_sql
    with CaptureQueriesContext(connection) as queries:
        list_readiness(day, at=now)
    assert benchmark.stats is not None
    times = benchmark.stats["min"] / baseline_s
    benchmark.extra_info |= {
        "pieces": Piece.objects.count(),
        "sql_s": baseline_s,
        "times_sql": times,
        "queries": len(queries),
        "day": found.words,
    }
    assert times <= MOST_TIMES


def rounds(benchmark: Any) -> DayReadiness:
    found: DayReadiness = benchmark.pedantic(
        list_readiness, args=(large_unit.DAY,), kwargs={"at": large_unit.NOW}, rounds=TURNS, warmup_rounds=1
    )
    return found
