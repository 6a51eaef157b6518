"""Smallest enclosing circle by brute force and by angles: nothing of the code under test, another formulation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import itemgetter

import mpmath
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import fmin_slsqp

DIGITS = 40


def brute_force(radii: Sequence[float], starts: int, seed: int = 1) -> float:
    """Least radius over random starts, each layout pulled apart until nothing overlaps, so never too small.

    Distances instead of squares, no bounds, no structure, no exchange; only the descent is scipy's in both.
    """
    discs, random = np.array(radii), np.random.default_rng(seed)
    count = len(discs)
    first, second = np.triu_indices(count, 1)
    rows, apart = np.arange(len(first)), discs[first] + discs[second]
    upward: NDArray[np.float64] = np.eye(2 * count + 1)[-1]  # the radius grows with itself alone

    def upwards(v: NDArray[np.float64]) -> NDArray[np.float64]:
        return upward

    def room(v: NDArray[np.float64]) -> NDArray[np.float64]:
        spots = v[:-1].reshape(count, 2)
        between = np.linalg.norm(spots[first] - spots[second], axis=1)
        return np.concatenate([between - apart, v[-1] - discs - np.linalg.norm(spots, axis=1)])

    def slope(v: NDArray[np.float64]) -> NDArray[np.float64]:
        spots = v[:-1].reshape(count, 2)
        across = spots[first] - spots[second]
        unit = across / np.maximum(np.linalg.norm(across, axis=1), 1e-12)[:, np.newaxis]
        outward = spots / np.maximum(np.linalg.norm(spots, axis=1), 1e-12)[:, np.newaxis]
        jacobian = np.zeros((len(first) + count, count, 2))
        jacobian[rows, first], jacobian[rows, second] = unit, -unit
        jacobian[len(first) + np.arange(count), np.arange(count)] = -outward
        growth = np.concatenate([np.zeros(len(first)), np.ones(count)])[:, np.newaxis]
        return np.hstack([jacobian.reshape(-1, 2 * count), growth])

    best = math.inf
    for _ in range(starts):
        wide = discs.sum()
        start = np.append(random.normal(size=2 * count) * wide / 2, wide)
        end = fmin_slsqp(
            itemgetter(-1), start, fprime=upwards, f_ieqcons=room, fprime_ieqcons=slope, acc=1e-13, iter=200, iprint=0
        )
        spots = end[:-1].reshape(count, 2)
        between = np.maximum(np.linalg.norm(spots[first] - spots[second], axis=1), 1e-12)
        freed = spots * np.max(apart / between, initial=1.0)
        best = min(best, float((np.linalg.norm(freed, axis=1) + discs).max()))
    return best


def exact(radii: Sequence[float]) -> float:
    """Least radius of one to three discs to 40 digits, by angles at the centre of the bore.

    Two discs need r1 + r2. In a bore of that width a third touches the wall beside them while the angles
    that it takes with either sum to at most half a turn; otherwise the bore is the one in which the three
    angles fill the whole turn.
    """
    with mpmath.workdps(DIGITS):
        discs = [mpmath.mpf(r) for r in sorted(radii, reverse=True)]

        def angle(a: mpmath.mpf, b: mpmath.mpf, bore: mpmath.mpf) -> mpmath.mpf:
            return mpmath.acos(1 - 2 * a * b / ((bore - a) * (bore - b)))

        least = sum(discs[:2], mpmath.mpf(0))
        if len(discs) < 3:
            return float(least)
        a, b, c = discs
        if angle(a, c, least) + angle(b, c, least) <= mpmath.pi:
            return float(least)

        def short(bore: mpmath.mpf) -> mpmath.mpf:
            return angle(a, b, bore) + angle(a, c, bore) + angle(b, c, bore) - 2 * mpmath.pi

        return float(mpmath.findroot(short, (least, 2 * a + c), solver="anderson", tol=1e-60))
