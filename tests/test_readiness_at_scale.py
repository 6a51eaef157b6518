"""The readiness of a day in a large unit agrees with hand-written SQL; a small one here."""

from __future__ import annotations

import pytest

from lists.reads.readiness import day_needs, list_readiness, readiness_of
from lists.states import Readiness
from tests.benchmarks import large_unit, readiness_by_sql

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


@pytest.mark.parametrize("seed", [1, 3])
def test_every_verdict_and_moment_is_that_of_the_sql(seed: int) -> None:
    large_unit.Unit(seed, trays=50, lines=5, cases=30).write()
    found = list_readiness(large_unit.DAY, at=large_unit.NOW)
    told = readiness_by_sql.told(found)
    assert told == readiness_by_sql.readiness(large_unit.DAY, large_unit.NOW)
    assert {verdict for verdict, _ in told.values()} == set(Readiness)
    wide = readiness_of(day_needs(large_unit.DAY, at=large_unit.NOW))
    assert wide.rows == found.rows
