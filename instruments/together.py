"""What can go through a bore together: every pair and triple of shafts of the kinds that are used side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from instruments.fit import ROUNDING_MM, Dimension, Fit, verdict

Lengths = NDArray[np.float64]

MOST_EXACT = 3  # shafts for which the required bore has a closed form

# Common practice, no source: what one hand holds beside what another looks or sucks through. An optical forceps
# carries its telescope, so no other goes in beside it.
GROUPS = (
    ("telescope", "forceps"),
    ("telescope", "suction"),
    ("telescope", "forceps", "suction"),
    ("optical forceps", "suction"),
    ("forceps", "suction"),
)


@dataclass(frozen=True, slots=True)
class Choice:
    """Shafts that can be in the bore at once.

    Args:
        shafts: for each role of the group, the position of the shaft in that role's list.
        fit: fits or tight.
        spare_mm: bore less required bore at nominal dimensions [mm]; below 0 only where it is tight.
        free_share: area that they leave open, as a share of the empty bore's.
    """

    shafts: tuple[int, ...]
    fit: Fit
    spare_mm: float
    free_share: float


@dataclass(frozen=True, slots=True)
class Group:
    """The choices of one group of roles.

    Args:
        roles: one shaft of each.
        asked: how many choices there are.
        fitting: how many of them fit.
        tight: how many of them the tolerances decide.
        first: those to show, the ones that fit before the tight ones, and the widest first in each.
    """

    roles: tuple[str, ...]
    asked: int
    fitting: int
    tight: int
    first: tuple[Choice, ...]


def required_bores_mm(widths_mm: ArrayLike, gap_mm: float) -> Lengths:
    """Least bore of each choice of shafts, exactly: the closed forms of one to three, many at once.

    Args:
        widths_mm: (n, k) outer diameters [mm], above 0; k from 1 to 3.
        gap_mm: running gap between any two surfaces, the wall included [mm], from 0.

    Returns:
        (n,) required bores [mm].

    Raises:
        ValueError: k is out of range, a diameter is not finite and above 0, or the gap is below 0.

    Source:
        docs/algorithms/co-passage.md; Descartes' circle theorem.
    """
    widths = np.asarray(widths_mm, dtype=float)
    if widths.ndim != 2 or not 1 <= widths.shape[1] <= MOST_EXACT:
        raise ValueError(f"Cannot judge choices of shape {widths.shape}: each must have 1 to {MOST_EXACT} shafts.")
    if not (np.isfinite(widths).all() and (widths > 0).all() and gap_mm >= 0):
        raise ValueError("Cannot judge these choices: every diameter must be finite and above 0, the gap from 0.")
    grown = np.ascontiguousarray((widths.T + gap_mm) / 2)
    radius = grown.sum(axis=0)
    if len(grown) == MOST_EXACT:
        one, other, third = grown
        a, c = grown.max(axis=0), grown.min(axis=0)
        b = np.maximum(np.minimum(one, other), np.minimum(np.maximum(one, other), third))  # the middle one
        beside = a * b * (a + b) / (a * a + a * b + b * b)  # what fits the gap beside the two larger ones
        wide = np.maximum(c, beside)
        outer = a * b * wide / (2 * np.sqrt(a * b * wide * (a + b + wide)) - (a * b + b * wide + wide * a))
        radius = np.where(c > beside, outer, a + b)
    bores: Lengths = 2 * radius + gap_mm
    return bores


def go_together(
    bore: Dimension, shafts: Mapping[str, Sequence[Dimension]], gap_mm: float, most: int | None = None
) -> tuple[Group, ...]:
    """What goes through a bore together, group by group, with every tolerance carried through.

    A choice fits when its largest shafts pass the smallest bore, and is tight when only the tolerances
    decide; one that does not fit is counted, not listed.

    Args:
        bore: inner diameter.
        shafts: for each role its shafts; what is not measured is left out by the caller.
        gap_mm: running gap between any two surfaces [mm], from 0.
        most: choices to list in a group; None = all.

    Returns:
        The groups of `GROUPS` of which there is a choice.

    Raises:
        ValueError: the gap is below 0.
    """
    found = (_group(bore, roles, [shafts.get(role, ()) for role in roles], gap_mm, most) for roles in GROUPS)
    return tuple(group for group in found if group.asked)


def _group(
    bore: Dimension, roles: tuple[str, ...], shafts: list[Sequence[Dimension]], gap_mm: float, most: int | None
) -> Group:
    if not all(shafts):
        return Group(roles, 0, 0, 0, ())
    chosen = np.indices([len(row) for row in shafts]).reshape(len(roles), -1).T
    low, nominal, high = (
        np.stack([figures[at] for figures, at in zip(columns, chosen.T, strict=True)], axis=1)
        for columns in zip(*map(_figures, shafts), strict=True)
    )
    least = bore.low_mm - required_bores_mm(high, gap_mm)
    greatest = bore.high_mm - required_bores_mm(low, gap_mm)
    spare = bore.nominal_mm - required_bores_mm(nominal, gap_mm)
    share = 1 - (nominal**2).sum(axis=1) / bore.nominal_mm**2
    fitting, passing = least >= -ROUNDING_MM, greatest >= -ROUNDING_MM
    order = np.lexsort((spare, ~fitting))  # stable: equally wide ones stay in the order given
    shown = order[passing[order]][:most]
    first = tuple(
        Choice(tuple(chosen[i].tolist()), verdict(least[i], greatest[i]), float(spare[i]), float(share[i]))
        for i in shown
    )
    count = int(fitting.sum())
    return Group(roles, len(chosen), count, int(passing.sum()) - count, first)


def _figures(sizes: Sequence[Dimension]) -> tuple[Lengths, Lengths, Lengths]:
    """Least, nominal and greatest of each [mm]."""
    return (
        np.array([size.low_mm for size in sizes]),
        np.array([size.nominal_mm for size in sizes]),
        np.array([size.high_mm for size in sizes]),
    )
