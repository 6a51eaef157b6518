"""Smallest circle that encloses a few discs that may not overlap: the geometry behind co-passage.

Plain geometry in any one unit of length: no clearances, no instruments, no verdicts.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations
from operator import attrgetter
from typing import NamedTuple

from instruments.descent import Descent

MOST_DISCS = 7
PROOF = 1e-9  # relative distance to the lower bound within which an answer counts as proven
TOUCH = 1e-12  # relative rounding allowed while discs are placed; repaired before an answer is given
HALVINGS = 60  # bisection steps: past the last bit of a double
NEAR_CENTRE = 0.05 + 0.03j  # where a search puts the disc inside a ring, as a share of its play; off any symmetry
LEADERS = 3  # layouts from which a search goes on exchanging discs

Spots = tuple[complex, ...]  # centre of each disc as x + yj, the largest disc first
Order = tuple[int, ...]  # discs by index, in the order in which they stand round the wall


class Layout(NamedTuple):
    """Discs that do not overlap, and the radius of the circle round the origin that holds them."""

    radius: float
    spots: Spots


@dataclass(frozen=True, slots=True)
class Packing:
    """Discs inside the smallest circle found for them; the circle's centre is the origin.

    Args:
        radius: radius of the enclosing circle.
        centres: x and y of each disc, in the order in which the discs were given.
        certified: proven smallest to a relative 1e-9; otherwise the best known.
    """

    radius: float
    centres: tuple[tuple[float, float], ...]
    certified: bool


def smallest_enclosing(radii: Sequence[float]) -> Packing:
    """Smallest circle that holds all discs side by side, none overlapping another.

    Exact to rounding for one to three discs. For more, a rigorous lower bound is computed first; where
    the discs can be laid out at that bound the answer is certified, else a structured multi-start
    optimisation gives the best known, which may be larger than the true smallest circle but is always
    large enough: the layout given is free of overlaps. The same radii always give the same answer.

    Args:
        radii: one to seven radii, each finite and above 0, in any one unit.

    Returns:
        Radius, centres and certificate, in the unit of the radii.

    Raises:
        ValueError: number of discs or a radius out of range.

    Source:
        Three mutually tangent discs: Descartes' circle theorem. Lower bound and search:
        docs/algorithms/co-passage.md.
    """
    order, scaled, scale = _sorted(radii)
    layout, certified = _solve(scaled)
    placed = dict(zip(order, layout.spots, strict=True))
    centres = tuple((placed[i].real * scale, placed[i].imag * scale) for i in range(len(order)))
    return Packing(layout.radius * scale, centres, certified)


def least_radius(radii: Sequence[float]) -> float:
    """Lower bound that no enclosing circle can beat; the exact smallest radius for up to three discs.

    Args:
        radii: one to seven radii, each finite and above 0, in any one unit.

    Returns:
        The bound, in the unit of the radii.

    Raises:
        ValueError: number of discs or a radius out of range.
    """
    _, scaled, scale = _sorted(radii)
    return _lower_bound(scaled) * scale


def fits_within(radii: Sequence[float], radius: float) -> bool:
    """Whether the discs fit into a circle of this radius; decided by bounds first, which is quick.

    Args:
        radii: one to seven radii, each finite and above 0, in any one unit.
        radius: radius of the circle, in the same unit.

    Returns:
        True is always right (a layout exists, to a relative 1e-12). False is proven below the lower
        bound; between the bounds it rests on the best known layout.

    Raises:
        ValueError: number of discs or a radius out of range.
    """
    _, scaled, scale = _sorted(radii)
    bore = radius / scale * (1 + TOUCH)
    if bore < _lower_bound(scaled):
        return False
    return _lay_out(scaled, bore) is not None or _solve(scaled)[0].radius <= bore


def forget() -> None:
    """Empty the store of answers, which is kept by the sorted radii: the next question is worked out anew."""
    for store in (_solve, _lower_bound):
        store.cache_clear()


def _sorted(radii: Sequence[float]) -> tuple[Order, tuple[float, ...], float]:
    """Indices, largest disc first; the radii in that order as shares of the largest; the largest."""
    if not 1 <= len(radii) <= MOST_DISCS:
        raise ValueError(f"Cannot pack {len(radii)} discs: there must be 1 to {MOST_DISCS}.")
    for radius in radii:
        if not (math.isfinite(radius) and radius > 0):
            raise ValueError(f"Cannot pack a disc of radius {radius}: it must be finite and above 0.")
    order = tuple(sorted(range(len(radii)), key=lambda i: (-radii[i], i)))
    scale = radii[order[0]]
    return order, tuple(radii[i] / scale for i in order), scale


@lru_cache(maxsize=8192)
def _solve(radii: tuple[float, ...]) -> tuple[Layout, bool]:
    """Smallest layout found for radii sorted from the largest, which is 1, and whether it is proven."""
    bound = _lower_bound(radii)
    spots = _lay_out(radii, bound)
    layout = _search(radii) if spots is None else _freed(radii, spots)
    return layout, layout.radius <= bound * (1 + PROOF)


# The lower bound


@lru_cache(maxsize=8192)
def _lower_bound(radii: tuple[float, ...]) -> float:
    """Greatest of: area, the three largest exactly, and for each m the ring of the m largest.

    Below 2 r_m + r_(m-1) every two of the m largest are seen from the bore's centre under at least the
    angle that they take when both touch the wall, so they would fit on the wall in some order: the
    smaller of that length and the least ring radius bounds the answer from below.
    """
    bound = max(math.sqrt(sum(r * r for r in radii)), _smallest_for_three(radii[:3]))
    for m in range(4, len(radii) + 1):
        reach = 2 * radii[m - 1] + radii[m - 2]
        if reach > bound:
            bound = max(bound, min(reach, _least_ring(radii[:m], bound)))
    return bound


def _smallest_for_three(radii: tuple[float, ...]) -> float:
    """Exact smallest radius for one, two or three discs, largest first.

    A third disc that fits the gap beside the two larger ones costs nothing; only a larger one makes the
    circle the outer Soddy circle of the three.
    """
    if len(radii) < 3:
        return sum(radii)
    a, b, c = radii
    gap = a * b * (a + b) / (a * a + a * b + b * b)
    if c <= gap:
        return a + b
    return a * b * c / (2 * math.sqrt(a * b * c * (a + b + c)) - (a * b + b * c + c * a))


def _least_ring(radii: tuple[float, ...], floor: float) -> float:
    """Least radius, at least `floor`, at which all discs touch the wall in some order."""
    best = math.inf
    for order in _orders(len(radii)):
        if best < math.inf and not _on_wall(radii, order, best * (1 - TOUCH)):
            continue
        low, high = floor, min(best, 2 * sum(radii))
        if _on_wall(radii, order, low):
            return low
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (low, middle) if _on_wall(radii, order, middle) else (middle, high)
        best = high
    return best


@lru_cache(maxsize=64)
def _orders(count: int) -> tuple[Order, ...]:
    """Every cyclic order of `count` discs once: the first stays first, mirror images are left out."""
    rest = permutations(range(1, count))
    return tuple((0, *order) for order in rest if count < 4 or order[0] < order[-1])


def _on_wall(radii: tuple[float, ...], order: Order, bore: float) -> list[float] | None:
    """Earliest angles [rad] at which these discs all touch the wall in this cyclic order, if there are any.

    Each disc keeps from every other, both ways round, at least the angle that the two take touching. The
    first stays at 0 and must be the largest: it then takes more room than any other, so two discs that keep
    clear of it on either side keep clear of each other across it, and only the way back to it is checked.
    """
    discs = [radii[i] for i in order]
    angles: list[float] = []
    for disc in discs:
        apart = [_angle(2 * disc * other / ((bore - disc) * (bore - other))) for other in discs[: len(angles)]]
        angles.append(max((at + keep for at, keep in zip(angles, apart, strict=True)), default=0.0))
        if apart and angles[-1] + apart[0] > 2 * math.pi + TOUCH:
            return None
    return angles


def _angle(versine: float) -> float:
    """Angle [rad] at the centre between two touching discs on the wall, from 1 less its cosine."""
    return math.acos(1 - versine) if versine < 2 - TOUCH else math.pi


# Layouts


def _lay_out(radii: tuple[float, ...], bore: float) -> Spots | None:
    """A layout at this bore: some of the largest discs on the wall, the others in the holes; None if none found."""
    if len(radii) == 1:
        return (0j,)
    for m in range(len(radii), 1, -1):
        for order in _orders(m):
            angles = _on_wall(radii, order, bore)
            if angles is None:
                continue
            if (spots := _fill(radii, _at(radii, order, angles, bore), bore)) is not None:
                return spots
    return None


def _at(radii: tuple[float, ...], order: Order, angles: list[float], bore: float) -> Spots:
    """Centres of discs on the wall at these angles, the disc of the lowest index first."""
    spots = {i: cmath.rect(bore - radii[i], angle) for i, angle in zip(order, angles, strict=True)}
    return tuple(spots[i] for i in sorted(order))


def _fill(radii: tuple[float, ...], placed: Spots, bore: float) -> Spots | None:
    """The layout completed, each further disc touching two others (or one and the wall), depth first."""
    if len(placed) == len(radii):
        return placed
    for spot in _holes(radii, placed, bore):
        if (spots := _fill(radii, (*placed, spot), bore)) is not None:
            return spots
    return None


def _holes(radii: tuple[float, ...], placed: Spots, bore: float) -> Iterator[complex]:
    """Free places for the next disc where it touches two of: the wall, the discs placed."""
    radius = radii[len(placed)]
    rails = [(0j, bore - radius), *((spot, r + radius) for spot, r in zip(placed, radii, strict=False))]
    for one, other in combinations(rails, 2):
        for spot in _crossings(*one, *other):
            inside = abs(spot) <= bore - radius + TOUCH
            if inside and all(abs(spot - c) >= reach - TOUCH for c, reach in rails[1:]):
                yield spot


def _crossings(a: complex, p: float, b: complex, q: float) -> Spots:
    """Where the circles of radius p round a and q round b cross or touch; nowhere for concentric ones."""
    span = abs(b - a)
    along = (p * p - q * q + span * span) / (2 * span) if span > TOUCH else math.inf
    across = p * p - along * along
    if across < -TOUCH:
        return ()
    foot, rise = a + (b - a) / span * along, 1j * (b - a) / span * math.sqrt(max(0.0, across))
    return foot + rise, foot - rise


def _freed(radii: tuple[float, ...], spots: Sequence[complex]) -> Layout:
    """The layout scaled until nothing overlaps; two discs in one place give a huge, useless one."""
    pairs = combinations(zip(spots, radii, strict=True), 2)
    scale = max(((r + s) / max(abs(a - b), TOUCH) for (a, r), (b, s) in pairs), default=1.0)
    freed = tuple(spot * scale for spot in spots)
    return Layout(max(abs(spot) + r for spot, r in zip(freed, radii, strict=True)), freed)


# The search


def _search(radii: tuple[float, ...]) -> Layout:
    """Best known layout: descents from structured starts, then exchanges of two discs while they help.

    The starts are all discs on the wall, and all but one on the wall: each choice, in each order, the one
    left over near the centre. A start whose ring needs more than the best radius so far cannot lead to a
    smaller circle with those discs on the wall and is left out. Exchanges go on from the best few layouts.
    """
    descent = Descent(radii)
    best = _ring_of_all(radii)
    layouts = [best]
    for order in _crowns(radii):
        angles = _on_wall(radii, order, best.radius)
        if angles is not None:
            start = _crown(radii, order, angles, best.radius)
            layouts.append(_freed(radii, descent.settle(start, best.radius)))
            best = min(best, layouts[-1], key=attrgetter("radius"))
    leaders: list[Layout] = []
    for layout in sorted(layouts, key=attrgetter("radius")):
        if not leaders or layout.radius > leaders[-1].radius * (1 + PROOF):
            leaders.append(layout)
    return min((_exchanged(radii, layout, descent) for layout in leaders[:LEADERS]), key=attrgetter("radius"))


def _ring_of_all(radii: tuple[float, ...]) -> Layout:
    """All discs on the wall, in the order that needs the least radius."""
    bore = _least_ring(radii, _smallest_for_three(radii[:3]))
    rings = ((order, _on_wall(radii, order, bore)) for order in _orders(len(radii)))
    return next(_freed(radii, _at(radii, order, angles, bore)) for order, angles in rings if angles)


def _crowns(radii: tuple[float, ...]) -> list[Order]:
    """All discs but one, each choice of the one, in every cyclic order; equal discs count once."""
    orders = (
        tuple(i + (i >= inside) for i in order) for inside in range(len(radii)) for order in _orders(len(radii) - 1)
    )
    return list({tuple(radii[i] for i in order): order for order in orders}.values())


def _crown(radii: tuple[float, ...], order: Order, angles: list[float], bore: float) -> list[complex]:
    """These discs on the wall, the one left over near the centre."""
    spots = list(_at(radii, order, angles, bore))
    inside = next(i for i in range(len(radii)) if i not in order)
    spots.insert(inside, NEAR_CENTRE * (bore - radii[inside]))
    return spots


def _exchanged(radii: tuple[float, ...], layout: Layout, descent: Descent) -> Layout:
    """The layout after exchanging two unequal discs and settling anew, the best exchange first, while it helps."""
    while True:
        tries = [layout]
        for i, j in combinations(range(len(radii)), 2):
            if radii[i] != radii[j]:
                spots = list(layout.spots)
                spots[i], spots[j] = spots[j], spots[i]
                tries.append(_freed(radii, descent.settle(spots, layout.radius)))
        better = min(tries, key=attrgetter("radius"))
        if better.radius >= layout.radius * (1 - PROOF):
            return layout
        layout = better
