"""What a unit's record teaches of a stage: against scipy, against draws with a known answer, and by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lists.learning import POLICY_SIGMA, WORTH_OF_POLICY, learned, once, worked_min

NINE = datetime(2027, 3, 1, 9, tzinfo=UTC)


def lasting(minutes: float, began: datetime = NINE) -> tuple[datetime, datetime]:
    return began, began + timedelta(minutes=minutes)


def test_without_a_record_it_is_the_policy() -> None:
    known = learned((), policy_min=20)
    assert (known.count, known.median_min, known.share, known.used_min) == (0, None, 0, 20)
    assert known.p90_min == pytest.approx(stats.lognorm(s=POLICY_SIGMA, scale=20).ppf(0.9))


def test_median_spread_and_point_are_those_of_scipy_once_the_record_is_long() -> None:
    drawn = tuple(stats.lognorm(s=0.5, scale=32).rvs(20_001, random_state=1))
    known = learned(drawn, policy_min=20)
    share = len(drawn) / (len(drawn) + WORTH_OF_POLICY)
    assert known.median_min == pytest.approx(np.median(drawn))
    spread = stats.median_abs_deviation(np.log(drawn), scale="normal")
    assert known.sigma == pytest.approx(share * spread + (1 - share) * POLICY_SIGMA)
    assert known.p90_min == pytest.approx(stats.lognorm(s=0.5, scale=32).ppf(0.9), rel=0.02)


def test_a_fifth_of_absurd_durations_moves_it_little() -> None:
    """With the plain mean and standard deviation of the logarithm the point would be more than three times as late."""
    drawn = [*stats.lognorm(s=0.3, scale=20).rvs(400, random_state=2), *[470.0] * 100]
    known = learned(tuple(drawn), policy_min=20)
    exact = stats.lognorm(s=0.3, scale=20).ppf(0.9)
    assert known.p90_min == pytest.approx(exact, rel=0.35)
    logs = np.log(drawn)
    assert exp(logs.mean() + 1.2816 * logs.std()) > 3 * exact


def test_as_many_records_as_the_policy_is_worth_meet_it_half_way() -> None:
    """On the logarithm: between 10 and 40 lies 20."""
    known = learned((40.0,) * WORTH_OF_POLICY, policy_min=10)
    assert known.share == 0.5
    assert known.used_min == pytest.approx(20)
    assert known.sigma == pytest.approx(POLICY_SIGMA / 2)
    assert round(known.p90_min) == 24


@given(st.lists(st.floats(0.1, 480), min_size=1, max_size=60), st.floats(1, 300))
def test_what_is_learned_lies_between_record_and_policy(minutes: list[float], policy_min: float) -> None:
    known = learned(tuple(minutes), policy_min=policy_min)
    middle = float(np.median(np.log(minutes)))
    assert min(middle, log(policy_min)) - 1e-9 <= log(known.used_min) <= max(middle, log(policy_min)) + 1e-9
    assert known.p90_min >= known.used_min


def test_what_stood_or_was_entered_together_is_left_out() -> None:
    late = NINE.replace(hour=23)
    spans = [lasting(30), lasting(480), lasting(481), lasting(120, late), lasting(0), lasting(-5)]
    assert worked_min(spans) == (30, 480)


def test_one_piece_of_work_on_many_things_counts_once() -> None:
    spans = [lasting(30), lasting(30, NINE + timedelta(seconds=20)), lasting(30, NINE + timedelta(minutes=1))]
    assert len(once(spans)) == 2


@pytest.mark.parametrize("minutes", [(), (5.0,)])
def test_a_policy_of_no_time_is_refused(minutes: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"Cannot learn a stage time: its policy is 0 min, must be above 0\."):
        learned(minutes, policy_min=0)
