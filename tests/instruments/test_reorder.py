"""When to order again: quantiles against scipy and printed tables, and the suggestion in words."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from instruments.reorder import LONG_HISTORY_WEEKS, Forecast, Lot, Terms, Usage, demand_over, forecast, least_stock

TODAY = date(2026, 11, 25)
TERMS = Terms(lead_days=14, review_days=7, level=0.95)
levels = st.floats(0.5, 0.999)
means = st.floats(0.01, 200)
CLOSE = 1e-9  # two sums of the same terms in another order


def suggested(usage: Usage, *lots: Lot, terms: Terms = TERMS) -> Forecast:
    return forecast("Trap", usage, lots, terms, TODAY)


def slugs(found: Forecast) -> list[str]:
    return [finding.slug for finding in found.findings]


# Quantiles


@pytest.mark.parametrize(
    ("mean", "level", "stock"),
    # Cumulative Poisson tables as printed in handbooks of statistics, from memory:
    # mean 1: P(≤2) 0.9197, P(≤3) 0.9810; mean 2: P(≤4) 0.9473, P(≤5) 0.9834; mean 4: P(≤7) 0.9489, P(≤8) 0.9786.
    [(1, 0.95, 3), (1, 0.91, 2), (2, 0.94, 4), (2, 0.95, 5), (4, 0.94, 7), (4, 0.95, 8), (0, 0.95, 0)],
)
def test_a_poisson_demand_as_the_printed_tables_have_it(mean: float, level: float, stock: int) -> None:
    assert least_stock(level, mean) == stock


@given(levels, means)
def test_a_poisson_demand_as_scipy_has_it(level: float, mean: float) -> None:
    """scipy.stats.poisson: the least count whose cumulative probability reaches the level."""
    stock = least_stock(level, mean)
    assert stats.poisson.cdf(stock, mean) >= level - CLOSE
    assert stats.poisson.cdf(stock - 1, mean) < level + CLOSE
    assert abs(stock - stats.poisson.ppf(level, mean)) <= 1


@given(levels, means, st.floats(0.5, 100))
def test_an_uncertain_rate_as_scipy_has_it(level: float, mean: float, shape: float) -> None:
    """scipy.stats.nbinom with n = shape and p = shape / (shape + mean)."""
    stock = least_stock(level, mean, shape)
    theirs = stats.nbinom(shape, shape / (shape + mean))
    assert theirs.cdf(stock) >= level - CLOSE
    assert theirs.cdf(stock - 1) < level + CLOSE


@given(levels, means, st.floats(0.5, 50))
def test_an_uncertain_rate_never_asks_for_less_at_the_usual_levels(level: float, mean: float, shape: float) -> None:
    if level >= 0.9 and mean >= 1:
        assert least_stock(level, mean, shape) >= least_stock(level, mean) - 1


def test_a_great_mean_does_not_underflow() -> None:
    assert least_stock(0.95, 5000) == stats.poisson.ppf(0.95, 5000)


@pytest.mark.parametrize("given", [(1.0, 1, None), (-0.1, 1, None), (0.5, -1, None), (0.5, 1, 0)])
def test_what_is_no_level_mean_or_shape_is_malformed(given: tuple[Any, ...]) -> None:
    with pytest.raises(ValueError, match="level from 0"):
        least_stock(*given)


@pytest.mark.parametrize("fields", [(-1, 0), (0, -1)])
def test_use_is_never_below_zero(fields: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        Usage(*fields)


@pytest.mark.parametrize(("fields", "words"), [
    ((-1, 0, 0.9), "Lead time"), ((0, -1, 0.9), "Lead time"), ((1, 1, 0.4), "level"), ((1, 1, 1.0), "level"),
])  # fmt: skip
def test_terms_are_within_their_range(fields: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Terms(*fields)


# The rate


def test_a_long_history_is_taken_at_its_rate() -> None:
    mean, shape = demand_over(Usage(LONG_HISTORY_WEEKS, 52), 14)
    assert (round(mean, 9), shape) == (4.0, None)


@given(st.integers(1, LONG_HISTORY_WEEKS - 1), st.integers(0, 60), st.integers(1, 60))
def test_a_short_history_widens_as_a_gamma_rate_does(weeks: int, used: int, days: int) -> None:
    """The mixture by its definition: a Poisson demand whose rate is gamma with shape k + 1/2 and rate n."""
    mean, shape = demand_over(Usage(weeks, used), days)
    rate = stats.gamma(used + 0.5, scale=1 / weeks)
    assert mean == pytest.approx(rate.mean() * days / 7)
    assert shape is not None
    variance = rate.mean() * days / 7 + rate.var() * (days / 7) ** 2
    assert mean + mean**2 / shape == pytest.approx(variance)


# The suggestion


def test_the_worked_example_of_the_page() -> None:
    """52 used in 26 weeks, 14 days to arrive, 7 days to the next order: mean 4 and 6, points 8 and 10.

    P(≤10) 0.9574 and P(≤9) 0.9161 at mean 6: cumulative Poisson tables, from memory.
    """
    found = suggested(Usage(26, 52), Lot("A", TODAY + timedelta(days=300), 7), Lot("B", TODAY + timedelta(days=9), 5))
    assert (found.usable, found.reorder_point, found.order_up_to, found.order) == (7, 8, 10, 3)
    assert slugs(found) == ["stock-low", "expires-before-arrival"]
    assert found.findings[0].words == (
        "Stock of Trap is down to 7; its reorder point is 8. Order 3, less what is on its way already."
    )


def test_enough_on_the_shelf_asks_for_nothing() -> None:
    found = suggested(Usage(26, 52), Lot("A", None, 9))
    assert (found.order, slugs(found)) == (0, [])


@pytest.mark.parametrize(("days", "usable"), [(13, 0), (14, 3)])
def test_what_expires_before_an_order_arrives_is_not_counted(days: int, usable: int) -> None:
    assert suggested(Usage(26, 0), Lot("A", TODAY + timedelta(days=days), 3)).usable == usable


def test_a_short_history_says_so_and_asks_for_more() -> None:
    short, long_one = suggested(Usage(4, 8)), suggested(Usage(52, 104))
    assert short.short_history
    assert "4 weeks on record, 8 used" in short.findings[-1].sentence
    assert (short.reorder_point or 0) > (long_one.reorder_point or 0)
    assert not long_one.short_history


def test_without_a_week_on_record_nothing_is_suggested() -> None:
    found = suggested(Usage(0, 0), Lot("A", TODAY, 1))
    assert (found.reorder_point, found.order_up_to, found.order) == (None, None, 0)
    assert slugs(found) == ["no-history", "expires-before-arrival"]


def test_what_is_never_used_is_never_ordered() -> None:
    assert suggested(Usage(40, 0)).order == 0


@given(st.integers(0, 40), st.integers(0, 80), st.integers(0, 60))
def test_an_order_fills_up_and_never_past(weeks: int, used: int, count: int) -> None:
    found = suggested(Usage(weeks, used), Lot("A", None, count))
    if found.order:
        assert found.usable + found.order == found.order_up_to
