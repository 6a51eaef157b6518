"""How far a real day strays from its plan: the spreads that minutes are drawn from, and the drawing.

A spread gives factors on planned minutes, or minutes where its name says so. Each thing that happens (a tray's
first pre-cleaning, the third cycle of a washer) has a stream of random numbers of its own, named by whole numbers:
what is drawn for one thing does not depend on what else is drawn, so two plans are tried on the same days.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import StrEnum
from math import isfinite
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]

MOST_REPEATS = 0.9  # a machine that repeats more cycles than that is out of order


@dataclass(frozen=True, slots=True)
class Triangular:
    """Triangular between two ends; with 0.7, 1, 1.8 the planned minutes are the likeliest, not the mean.

    Args:
        low: the least.
        mode: the likeliest.
        high: the greatest.

    Raises:
        ValueError: they are not in this order, below zero, or not finite.
    """

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        if not (0 <= self.low <= self.mode <= self.high and isfinite(self.high)):
            found = f"low {self.low:g}, mode {self.mode:g}, high {self.high:g}"
            raise ValueError(f"Cannot draw from a triangular spread: it is {found}, must rise from 0 or more.")

    def draw(self, source: np.random.Generator, days: int) -> FloatArray:
        """One value for each day, shape (days,)."""
        if self.low == self.high:
            return np.full(days, self.low)
        return source.triangular(self.low, self.mode, self.high, days)


@dataclass(frozen=True, slots=True)
class LogNormal:
    """exp(sigma · Z), Z standard normal: the median is 1, so that half of the days take the planned minutes or less.

    The mean is exp(sigma² / 2), with sigma 0.3 that is 1.046; P(factor ≤ f) = Φ(ln f / sigma).

    Args:
        sigma: standard deviation of the natural logarithm.

    Raises:
        ValueError: it is not from 0 to 3.
    """

    sigma: float

    def __post_init__(self) -> None:
        if not 0 <= self.sigma <= 3:
            raise ValueError(
                f"Cannot draw from a log-normal spread: its sigma is {self.sigma:g}, must be from 0 to 3."
            )

    def draw(self, source: np.random.Generator, days: int) -> FloatArray:
        """One value for each day, shape (days,)."""
        return np.exp(self.sigma * source.standard_normal(days))


@dataclass(frozen=True, slots=True)
class Exponential:
    """Exponential with this mean.

    Args:
        mean: in the unit of what is drawn.

    Raises:
        ValueError: it is below zero or not finite.
    """

    mean: float

    def __post_init__(self) -> None:
        if not (self.mean >= 0 and isfinite(self.mean)):
            raise ValueError(f"Cannot draw from an exponential spread: its mean is {self.mean:g}, must be 0 or more.")

    def draw(self, source: np.random.Generator, days: int) -> FloatArray:
        """One value for each day, shape (days,)."""
        return self.mean * source.standard_exponential(days)


Spread: TypeAlias = Triangular | LogNormal | Exponential


class LoadPolicy(StrEnum):
    """When a load leaves that still waits for members."""

    WAIT = "wait"
    CUTOFF = "cutoff"


@dataclass(frozen=True, slots=True)
class Noise:
    """What is uncertain of a day. Nothing is, unless it is named.

    Args:
        preclean: factor on the minutes at the pre-clean bench.
        assembly: factor on the minutes at the assembly bench.
        pickup_min: from the end of a machine's cycle until somebody empties it [min].
        overrun: factor on the duration of a case.
        wash_repeat: share of washer cycles that have to be run again.
        steriliser_repeat: share of steriliser cycles that have to be run again.
        policy: `wait`: a load waits for all its members. `cutoff`: it leaves at its planned start + cutoff_min with
            those that are there; the others take the next load with room.
        cutoff_min: see there [min].

    Raises:
        ValueError: a figure is out of range.
    """

    preclean: Spread | None = None
    assembly: Spread | None = None
    pickup_min: Spread | None = None
    overrun: Spread | None = None
    wash_repeat: float = 0.0
    steriliser_repeat: float = 0.0
    policy: LoadPolicy = LoadPolicy.CUTOFF
    cutoff_min: float = 10.0

    def __post_init__(self) -> None:
        for name in ("wash_repeat", "steriliser_repeat"):
            share = getattr(self, name)
            if not 0 <= share <= MOST_REPEATS:
                raise ValueError(f"Cannot draw days: their {name} is {share:g}, must be from 0 to {MOST_REPEATS:g}.")
        if not (self.cutoff_min >= 0 and isfinite(self.cutoff_min)):
            raise ValueError(f"Cannot draw days: their cutoff_min is {self.cutoff_min:g}, must be 0 or more.")


# Our own assumption, no source; a unit learns its own from its trail.
USUAL = Noise(
    preclean=Triangular(0.7, 1.0, 1.8),
    assembly=LogNormal(0.3),
    pickup_min=Exponential(5.0),
    overrun=LogNormal(0.25),
    wash_repeat=0.01,
    steriliser_repeat=0.005,
)
NONE = Noise()


@dataclass(frozen=True, slots=True)
class Draws:
    """The random numbers of so many days.

    Args:
        days: how many.
        seed: the same seed gives the same days.

    Raises:
        ValueError: no day, or a seed below zero.
    """

    days: int
    seed: int

    def __post_init__(self) -> None:
        for field, least in zip(fields(self), (1, 0), strict=True):
            if getattr(self, field.name) < least:
                found = getattr(self, field.name)
                raise ValueError(f"Cannot draw days: {field.name} is {found}, must be {least} or more.")

    def of(self, spread: Spread | None, usual: float, *thing: int) -> FloatArray:
        """One value for each day for a thing, shape (days,); all are `usual` where there is no spread."""
        if spread is None:
            return np.broadcast_to(usual, self.days)
        return spread.draw(self._source(*thing), self.days)

    def cycles(self, repeat: float, *thing: int) -> FloatArray:
        """How often a cycle is run until it is good, when each run fails with the chance `repeat`; shape (days,)."""
        if repeat == 0:
            return np.broadcast_to(1.0, self.days)
        return self._source(*thing).geometric(1 - repeat, self.days).astype(np.float64)

    def _source(self, *thing: int) -> np.random.Generator:
        return np.random.default_rng([self.seed, *thing])
