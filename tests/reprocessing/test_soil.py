"""How long pieces waited before their wash."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from journal.findings import Severity
from reprocessing.soil import Soil, waited_too_long
from tests.makers import AT


def soil(minutes: float, longest_min: int = 60) -> Soil:
    return Soil("P000001", AT - timedelta(minutes=minutes), AT, longest_min)


@pytest.mark.parametrize(
    ("minutes", "waited", "over"),
    # One hour: trade text that quotes ANSI/AAMI ST79 on transport; the unit may set another limit.
    [(0, 0, False), (59.9, 59, False), (60, 60, False), (60.1, 60, True), (300, 300, True), (-5, 0, False)],
)
def test_a_wait_over_the_limit_asks_for_a_look_and_forbids_nothing(minutes: float, waited: int, *, over: bool) -> None:
    found = list(waited_too_long("L000001", soil(minutes)))
    assert (soil(minutes).waited_min, soil(minutes).over) == (waited, over)
    assert [finding.severity for finding in found] == ([Severity.LOOK] if over else [])


def test_the_limit_is_the_units_own_and_nothing_used_has_not_waited() -> None:
    assert soil(0.5, longest_min=0).over
    assert not list(waited_too_long("L000001", None))


@pytest.mark.parametrize(("since", "longest_min"), [(datetime(2026, 11, 24), 60), (AT, -1)])  # noqa: DTZ001
def test_what_is_no_wait(since: datetime, longest_min: int) -> None:
    with pytest.raises(ValueError, match="zone"):
        Soil("P000001", since, AT, longest_min)
