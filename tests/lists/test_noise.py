"""Spreads against the distributions of scipy, and streams of random numbers that do not touch each other."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from lists.chances.noise import NONE, USUAL, Draws, Exponential, LoadPolicy, LogNormal, Noise, Spread, Triangular

DRAWN = Draws(20_000, 3)


@pytest.mark.parametrize(
    ("spread", "known"),
    [
        (Triangular(0.7, 1.0, 1.8), stats.triang(c=0.3 / 1.1, loc=0.7, scale=1.1)),
        (LogNormal(0.3), stats.lognorm(s=0.3)),
        (Exponential(5.0), stats.expon(scale=5.0)),
    ],
)
def test_spreads_are_those_of_scipy(spread: Spread, known: stats.rv_continuous) -> None:
    """Kolmogorov and Smirnov's test; the seed is fixed, so that it says the same each time."""
    assert stats.kstest(DRAWN.of(spread, 1.0, 1), known.cdf).pvalue > 0.01


def test_the_median_of_the_log_normal_is_the_plan() -> None:
    drawn = DRAWN.of(LogNormal(0.3), 1.0, 1)
    assert np.median(drawn) == pytest.approx(1.0, abs=0.01)
    assert drawn.mean() == pytest.approx(math.exp(0.3**2 / 2), abs=0.01)


def test_a_spread_of_no_width_is_a_figure() -> None:
    assert set(DRAWN.of(Triangular(2, 2, 2), 1.0, 1)) == {2.0}
    assert set(DRAWN.of(LogNormal(0), 1.0, 1)) == {1.0}
    assert set(DRAWN.of(Exponential(0), 1.0, 1)) == {0.0}
    assert set(DRAWN.of(None, 1.0, 1)) == {1.0}


def test_each_thing_has_a_stream_of_its_own() -> None:
    first = DRAWN.of(Exponential(1), 0, 1, 2)
    assert (first == Draws(20_000, 3).of(Exponential(1), 0, 1, 2)).all()
    for other in (DRAWN.of(Exponential(1), 0, 2, 1), Draws(20_000, 4).of(Exponential(1), 0, 1, 2)):
        assert abs(np.corrcoef(first, other)[0, 1]) < 0.03


def test_cycles_are_run_until_one_is_good() -> None:
    """Geometric: with a chance of 0.2 to fail, the mean is 1 / 0.8, and 0.2² of the days need three or more."""
    runs = DRAWN.cycles(0.2, 1)
    assert runs.min() == 1
    assert runs.mean() == pytest.approx(1 / 0.8, abs=0.02)
    assert np.mean(runs >= 3) == pytest.approx(0.04, abs=0.005)
    assert set(DRAWN.cycles(0.0, 1)) == {1.0}


def test_no_noise_is_the_default_and_the_usual_noise_is_stated() -> None:
    assert Noise() == NONE
    assert (USUAL.policy, USUAL.cutoff_min) == (LoadPolicy.CUTOFF, 10)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Triangular(1, 0.7, 1.8), "it is low 1, mode 0.7, high 1.8, must rise from 0 or more"),
        (lambda: Triangular(-1, 0.7, 1.8), "must rise from 0 or more"),
        (lambda: Triangular(0, 1, math.inf), "must rise from 0 or more"),
        (lambda: LogNormal(3.1), "its sigma is 3.1, must be from 0 to 3"),
        (lambda: LogNormal(math.nan), "its sigma is nan, must be from 0 to 3"),
        (lambda: Exponential(-1), "its mean is -1, must be 0 or more"),
        (lambda: Exponential(math.inf), "its mean is inf, must be 0 or more"),
        (lambda: Noise(wash_repeat=0.95), "their wash_repeat is 0.95, must be from 0 to 0.9"),
        (lambda: Noise(steriliser_repeat=-0.1), "their steriliser_repeat is -0.1, must be from 0 to 0.9"),
        (lambda: Noise(cutoff_min=-1), "their cutoff_min is -1, must be 0 or more"),
        (lambda: Draws(0, 1), "days is 0, must be 1 or more"),
        (lambda: Draws(1, -1), "seed is -1, must be 0 or more"),
    ],
)
def test_what_cannot_be_drawn_is_refused(make: object, sentence: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=r"^Cannot draw ") as refusal:
        make()
    assert sentence in str(refusal.value)
