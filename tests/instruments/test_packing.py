"""Smallest enclosing circle against published packings, Descartes' theorem and an independent brute force."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.packing import Packing, fits_within, forget, least_radius, smallest_enclosing
from tests.instruments.brute import brute_force, exact

RADII = st.floats(0.3, 3.0)

# Smallest circle round n unit circles as a ratio of radii: published tables of circles in a circle; 6 and 7 proved.
EQUAL = {
    1: 1.0,
    2: 2.0,
    3: 1 + 2 / math.sqrt(3),
    4: 1 + math.sqrt(2),
    5: 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5))),
    6: 3.0,
    7: 3.0,
}

# Three discs of which the third fits the gap beside the two larger. The first is a trap: the outer Soddy circle
# of 1, 2, 3 has radius 6. The second is the boundary, with a gap of exactly 2.
THIRD_IN_GAP = {(1.0, 2.0, 3.0): 5.0, (3.0, 3.0, 2.0): 6.0, (2.75, 1.5, 1.2): 4.25}

# Best of 300 (four discs), 1200 (five) and 3500 (six) random starts of a brute force like `brute_force`, run once.
BEST_KNOWN = {
    (1.11, 1.02, 0.93, 0.9): 2.390057566105628,
    (2.5, 1.48, 1.3, 0.73): 3.9915436565105553,
    (1.12, 1.1, 1.04, 0.95): 2.541539205657118,
    (1.19, 1.15, 1.08, 0.94, 0.85): 2.811748628080127,
    (2.7, 1.38, 1.35, 0.9, 0.9): 4.128267843824689,
    (1.1, 0.96, 0.87, 0.85, 0.83): 2.491442468087926,
    (1.12, 0.98, 0.96, 0.83, 0.81, 0.8): 2.6873677797493025,
    (2.53, 2.5, 2.18, 1.6, 1.17, 1.02): 5.3970522259698654,
    (1.19, 1.05, 0.99, 0.88, 0.86, 0.83): 2.836018745777145,
}


def overlap(found: Packing, radii: tuple[float, ...]) -> float:
    """How far discs overlap each other or the wall; negative = apart everywhere."""
    spots = [complex(*centre) for centre in found.centres]
    discs = list(zip(spots, radii, strict=True))
    wall = max(abs(spot) + r - found.radius for spot, r in discs)
    return max([wall, *(r + s - abs(a - b) for (a, r), (b, s) in combinations(discs, 2))])


@pytest.mark.parametrize(("count", "ratio"), EQUAL.items())
def test_equal_discs_as_published(count: int, ratio: float) -> None:
    found = smallest_enclosing([1.7] * count)
    assert found.radius == pytest.approx(1.7 * ratio, rel=1e-9)
    assert found.certified


@pytest.mark.parametrize(("radii", "radius"), THIRD_IN_GAP.items())
def test_a_third_disc_in_the_gap_costs_nothing(radii: tuple[float, ...], radius: float) -> None:
    assert smallest_enclosing(radii).radius == pytest.approx(radius, rel=1e-9)


@given(st.lists(RADII, min_size=3, max_size=3))
def test_three_discs_exactly(radii: list[float]) -> None:
    """Two across, or all three tangent and then by Descartes' circle theorem, enclosing curvature negative."""
    a, b, c = sorted(radii, reverse=True)
    found = smallest_enclosing(radii)
    assert found.certified
    if c > a * b * (a + b) / (a * a + a * b + b * b):
        curvatures = [1 / a, 1 / b, 1 / c, -1 / found.radius]
        assert sum(curvatures) ** 2 == pytest.approx(2 * sum(k * k for k in curvatures), rel=1e-9)
        assert found.radius > a + b
    else:
        assert found.radius == pytest.approx(a + b, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.3, 3.0) | st.floats(0.99, 1.01) | st.floats(0.01, 0.1), min_size=1, max_size=3))
def test_up_to_three_discs_to_forty_digits(radii: list[float]) -> None:
    """By angles at the centre of the bore, in long arithmetic: neither Descartes nor the gap beside two discs."""
    assert smallest_enclosing(radii).radius == pytest.approx(exact(radii), rel=1e-9)


def test_the_outer_circle_of_5_4_3_is_just_over_9() -> None:
    assert smallest_enclosing([5, 4, 3]).radius == pytest.approx(9.001398, abs=5e-7)


@pytest.mark.parametrize(("radii", "radius"), BEST_KNOWN.items())
def test_four_to_six_discs_reach_the_best_known(radii: tuple[float, ...], radius: float) -> None:
    found = smallest_enclosing(radii)
    assert found.radius == pytest.approx(radius, rel=1e-6)
    assert overlap(found, radii) <= 1e-12


# The larger hunt is a command: python -m tests.benchmarks.hunt_packing
@pytest.mark.parametrize(
    "radii",
    [
        (1.3, 1.1, 1.0, 0.9),
        (2.0, 1.9, 0.8, 0.75),
        (1.74, 0.44, 0.43, 0.42),
        (1.0, 0.98, 0.96, 0.94, 0.92),
        (2.2, 2.0, 1.9, 1.8, 0.1),
        (2.2, 2.1, 0.9, 0.7, 0.6, 0.5),
    ],
)
def test_never_worse_than_brute_force_now_and_proven_is_not_beaten(radii: tuple[float, ...]) -> None:
    found, best = smallest_enclosing(radii), brute_force(radii, 40)
    assert found.radius <= best * (1 + 1e-9)
    assert least_radius(radii) <= best * (1 + 1e-12)


@settings(max_examples=40, deadline=None)
@given(st.lists(RADII, min_size=1, max_size=5))
def test_a_layout_has_no_overlap_and_is_no_smaller_than_the_bound(radii: list[float]) -> None:
    found = smallest_enclosing(radii)
    assert overlap(found, tuple(radii)) <= 1e-12 * max(radii)
    assert found.radius >= least_radius(radii) * (1 - 1e-12)
    assert found.certified == (found.radius <= least_radius(radii) * (1 + 1e-9))


@settings(max_examples=25, deadline=None)
@given(st.lists(RADII, min_size=1, max_size=5), st.randoms(use_true_random=False), st.floats(1e-3, 1e3))
def test_order_and_unit_do_not_matter(radii: list[float], random: object, unit: float) -> None:
    mixed = list(radii)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    found = smallest_enclosing([r * unit for r in mixed])
    assert found.radius == pytest.approx(unit * smallest_enclosing(radii).radius, rel=1e-9)
    assert overlap(found, tuple(r * unit for r in mixed)) <= 1e-12 * unit * max(radii)


@settings(max_examples=25, deadline=None)
@given(st.lists(RADII, min_size=1, max_size=5))
def test_verdicts_just_beside_the_limit(radii: list[float]) -> None:
    """2.5 µm of radius beside the limit decide, as does the limit itself."""
    limit = smallest_enclosing(radii).radius
    assert fits_within(radii, limit)
    assert fits_within(radii, limit + 0.0025)
    assert not fits_within(radii, limit - 0.0025)


def test_a_verdict_between_the_bounds_is_found_by_search() -> None:
    radii = (1.12, 0.98, 0.96, 0.83, 0.81, 0.8)
    limit = BEST_KNOWN[radii]
    assert least_radius(radii) < limit - 0.0025
    assert fits_within(radii, limit + 1e-6)
    assert not fits_within(radii, limit - 1e-6)


@given(st.lists(RADII, min_size=1, max_size=6))
def test_area_and_the_two_largest_bound_the_radius(radii: list[float]) -> None:
    bound = least_radius(radii)
    assert bound >= math.sqrt(sum(r * r for r in radii)) * (1 - 1e-12)
    assert bound >= sum(sorted(radii)[-2:]) * (1 - 1e-12)


@pytest.mark.parametrize(
    "radii", [(1.0, 1e-3, 1e-3, 1e-3), (1.0, 0.999, 1e-3, 1e-3, 1e-3, 1e-3), (1.0,) * 3 + (0.01,)]
)
def test_thin_shafts_beside_thick_ones_cost_nothing(radii: tuple[float, ...]) -> None:
    found = smallest_enclosing(radii)
    assert found.certified
    assert found.radius == pytest.approx(smallest_enclosing(radii[:3]).radius, rel=1e-9)
    assert overlap(found, radii) <= 1e-12


def test_a_disc_in_the_very_middle_of_a_ring_leaves_its_gaps_to_others() -> None:
    radii = (1.0,) * 5 + (EQUAL[5] - 2, 0.1)
    found = smallest_enclosing(radii)
    assert found.certified
    assert found.radius == pytest.approx(EQUAL[5], rel=1e-9)
    assert overlap(found, radii) <= 1e-12


def test_a_forgotten_answer_is_found_again() -> None:
    radii = (1.3, 1.1, 1.0, 0.9)
    found = smallest_enclosing(radii)
    forget()
    assert smallest_enclosing(radii) == found


def test_the_same_discs_give_the_same_answer() -> None:
    radii = (1.1, 0.96, 0.87, 0.85, 0.83)
    again = tuple(r * 2 for r in radii)
    assert [c / 2 for xy in smallest_enclosing(again).centres for c in xy] == [
        c for xy in smallest_enclosing(radii).centres for c in xy
    ]


@pytest.mark.parametrize("radii", [[], [1.0] * 8, [0.0], [-1.0], [math.nan], [1.0, math.inf]])
def test_what_is_no_set_of_discs_is_refused(radii: list[float]) -> None:
    for ask in (smallest_enclosing, least_radius, lambda discs: fits_within(discs, 1.0)):
        with pytest.raises(ValueError, match="Cannot pack"):
            ask(radii)
