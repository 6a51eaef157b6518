"""Fit of many at once: every shaft in every bore, how many pairs go through each bore."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from instruments.fit import ROUNDING_MM, Dimension, Fit, verdict

Lengths = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Clearance:
    """What one shaft leaves of one bore beyond the gap on either side.

    Args:
        fit: the verdict.
        nominal_mm: at nominal dimensions [mm], negative where it lacks; None = not measured.
        least_mm: when every tolerance is against it [mm]; None = not measured.
        most_mm: when every tolerance favours it [mm]; None = not measured.
    """

    fit: Fit
    nominal_mm: float | None = None
    least_mm: float | None = None
    most_mm: float | None = None


def fit_matrix(
    bores: Sequence[Dimension | None], shafts: Sequence[Dimension | None], gap_mm: float
) -> tuple[tuple[Clearance, ...], ...]:
    """Every shaft in every bore, one shaft at a time.

    Args:
        bores: n inner diameters; None = not measured.
        shafts: m outer diameters; None = not measured.
        gap_mm: running gap [mm], from 0.

    Returns:
        m rows of n clearances: a row for each shaft, a column for each bore, in the order given.

    Raises:
        ValueError: the gap is below 0.
    """
    least, most = clearances_mm(bores, shafts, gap_mm)
    rows = zip(least.T.tolist(), most.T.tolist(), strict=True)
    return tuple(tuple(map(_clearance, *row)) for row in rows)


def _clearance(least_mm: float, most_mm: float) -> Clearance:
    if math.isnan(least_mm):
        return Clearance(Fit.NOT_MEASURED)
    return Clearance(verdict(least_mm, most_mm), (least_mm + most_mm) / 2, least_mm, most_mm)


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


def _lows_and_highs(sizes: Sequence[Dimension | None]) -> tuple[Lengths, Lengths]:
    lows = [size.low_mm if size else np.nan for size in sizes]
    highs = [size.high_mm if size else np.nan for size in sizes]
    return np.array(lows), np.array(highs)
