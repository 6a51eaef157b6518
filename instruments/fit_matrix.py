"""Fit of many at once: every shaft in every bore, pairs of shafts in bores, what can go through together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from instruments.fit import ROUNDING_MM, Dimension, Fit, Measure, fit_together

Lengths = NDArray[np.float64]

MOST_TOGETHER = 3  # more than three shafts are asked for by name, not listed


@dataclass(frozen=True, slots=True)
class Together:
    """Shafts that can be in a bore at once.

    Args:
        names: the shafts.
        fit: fits or tight.
    """

    names: tuple[str, ...]
    fit: Fit


def clearances_mm(
    bores: Sequence[Dimension | None], shafts: Sequence[Dimension | None], gap_mm: float
) -> tuple[Lengths, Lengths]:
    """What is left of each bore after each shaft and a gap on either side, one shaft at a time.

    A shaft fits where the first is not below 0, does not where the second is below 0, and is tight
    between. Rounding of decimal figures is taken out, so that an exact fit is 0.

    Args:
        bores: n inner diameters; None = not measured.
        shafts: m outer diameters; None = not measured.
        gap_mm: running gap [mm], from 0.

    Returns:
        Least and greatest clearance by tolerance, each (n, m) [mm]; NaN = not measured.

    Raises:
        ValueError: the gap is below 0.
    """
    if not gap_mm >= 0:
        raise ValueError(f"Cannot judge with a gap of {gap_mm} mm: it must be from 0.")
    bore_low, bore_high = _lows_and_highs(bores)
    shaft_low, shaft_high = _lows_and_highs(shafts)
    least = bore_low[:, np.newaxis] - (shaft_high + 2 * gap_mm)
    most = bore_high[:, np.newaxis] - (shaft_low + 2 * gap_mm)
    for clearance in (least, most):
        clearance[np.abs(clearance) <= ROUNDING_MM] = 0
    return least, most


def pairs_per_bore(bores_mm: ArrayLike, shafts_mm: ArrayLike, gap_mm: float) -> NDArray[np.int64]:
    """How many pairs of different shafts go through each bore at once, at nominal dimensions.

    Args:
        bores_mm: (n,) inner diameters [mm].
        shafts_mm: (m,) outer diameters [mm].
        gap_mm: running gap [mm], from 0.

    Returns:
        (n,) counts, each from 0 to m(m-1)/2.

    Raises:
        ValueError: a figure is not finite, or the gap is below 0.
    """
    bores, shafts = np.asarray(bores_mm, dtype=float), np.sort(np.asarray(shafts_mm, dtype=float))
    if not (np.isfinite(bores).all() and np.isfinite(shafts).all() and gap_mm >= 0):
        raise ValueError("Cannot count pairs: every diameter must be finite and the gap from 0.")
    first, second = np.triu_indices(len(shafts), 1)
    needed = shafts[first] + shafts[second] + (3 * gap_mm - ROUNDING_MM)
    ranks = np.argsort(bores)  # sorted bores and sorted shafts make the search below run in order
    narrowest = np.searchsorted(bores[ranks], needed)  # rank of the first bore that each pair passes
    counts = np.empty(len(bores), dtype=np.int64)
    counts[ranks] = np.cumsum(np.bincount(narrowest, minlength=len(bores) + 1))[: len(bores)]
    return counts


def go_together(
    bore: Measure, shafts: Sequence[Measure], gap_mm: float, most: int = MOST_TOGETHER
) -> tuple[Together, ...]:
    """Every choice of up to `most` shafts that can be in the bore at once.

    A choice is asked only when all smaller ones in it pass. What has no measured width is left out.

    Args:
        bore: inner diameter.
        shafts: what there is to choose from; each at most once in a choice.
        gap_mm: running gap [mm], from 0.
        most: shafts in a choice, up to six.

    Returns:
        The choices, smaller ones first, in the order in which the shafts were given.
    """
    if bore.size is None:
        return ()
    known = [(shaft.name, shaft.size) for shaft in shafts if shaft.size]
    passing: dict[tuple[int, ...], Fit] = {}
    for count in range(1, most + 1):
        for choice in combinations(range(len(known)), count):
            if count == 1 or all(part in passing for part in combinations(choice, count - 1)):
                fit = fit_together(bore.size, [known[i][1] for i in choice], gap_mm)
                if fit is not Fit.DOES_NOT_FIT:
                    passing[choice] = fit
    return tuple(Together(tuple(known[i][0] for i in choice), fit) for choice, fit in passing.items())


def _lows_and_highs(sizes: Sequence[Dimension | None]) -> tuple[Lengths, Lengths]:
    lows = [size.low_mm if size else np.nan for size in sizes]
    highs = [size.high_mm if size else np.nan for size in sizes]
    return np.array(lows), np.array(highs)
