"""Descent from one layout of discs to the smallest enclosing circle that it can reach."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

MOST_STEPS = 200  # 20 to 40 are usual
ACCURACY = 1e-13  # of the circle's radius, where the largest disc has radius 1


class Descent:
    """Discs that move together until no small move makes their enclosing circle smaller.

    Least radius, subject to no two discs overlapping and none crossing the circle, over all centres and
    the radius at once, by sequential quadratic programming. The answer is local: it depends on the start.

    Args:
        radii: radius of each disc, as a share of the largest.

    Source:
        D. Kraft, A software package for sequential quadratic programming, DFVLR-FB 88-28 (1988), in scipy.
    """

    def __init__(self, radii: Sequence[float]) -> None:
        self._radii = np.array(radii)
        self._discs = np.arange(len(radii))
        self._first, self._second = np.triu_indices(len(radii), 1)
        self._apart = (self._radii[self._first] + self._radii[self._second]) ** 2
        self._upward: Vector = np.eye(2 * len(radii) + 1)[-1]  # the radius grows with itself alone

    def settle(self, spots: Sequence[complex], bore: float) -> tuple[complex, ...]:
        """Centres where the descent ends, overlapping by rounding at most.

        Args:
            spots: centre of each disc as x + yj; discs may overlap or lie outside.
            bore: radius of the circle to start from, round the origin.
        """
        from scipy.optimize import fmin_slsqp  # noqa: PLC0415 - takes half a second; few questions need it

        start = np.array(spots)
        end = fmin_slsqp(
            func=_bore,
            fprime=self._upwards,
            f_ieqcons=self._room,
            fprime_ieqcons=self._slope,
            x0=np.concatenate([start.real, start.imag, [bore]]),
            iter=MOST_STEPS,
            acc=ACCURACY,
            iprint=0,
        )
        x, y, _ = self._parts(end)
        return tuple(complex(*spot) for spot in zip(x, y, strict=True))

    def _parts(self, point: Vector) -> tuple[Vector, Vector, float]:
        count = len(self._discs)
        return point[:count], point[count:-1], _bore(point)

    def _upwards(self, _: Vector) -> Vector:
        return self._upward

    def _room(self, point: Vector) -> Vector:
        """Squared distances of each pair, and squared play of each disc at the wall, beyond the least allowed."""
        x, y, bore = self._parts(point)
        across, along = x[self._first] - x[self._second], y[self._first] - y[self._second]
        apart = across * across + along * along - self._apart
        inside = (bore - self._radii) ** 2 - x * x - y * y
        return np.concatenate([apart, inside])

    def _slope(self, point: Vector) -> Vector:
        """Derivatives of the room, one row for each constraint, one column for each variable."""
        x, y, bore = self._parts(point)
        count, first, second = len(self._discs), self._first, self._second
        rows = np.zeros((len(first) + count, len(point)))
        pair, inside = np.arange(len(first)), len(first) + self._discs
        across, along = 2 * (x[first] - x[second]), 2 * (y[first] - y[second])
        rows[pair, first], rows[pair, second] = across, -across
        rows[pair, count + first], rows[pair, count + second] = along, -along
        rows[inside, self._discs], rows[inside, count + self._discs] = -2 * x, -2 * y
        rows[inside, -1] = 2 * (bore - self._radii)
        return rows


def _bore(point: Vector) -> float:
    return float(point[-1])
