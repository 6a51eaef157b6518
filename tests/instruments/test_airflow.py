"""Open area and laminar flow in an annulus against a textbook table and a worked case."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from instruments.airflow import annulus_f_re, free_area_mm2, free_share, hydraulic_diameter_mm, pressure_drop_ratio

# Darcy f·Re of concentric annuli by ratio of radii: textbook table, from memory.
F_RE = {
    1e-5: 70.09,
    1e-4: 71.78,
    1e-3: 74.68,
    0.01: 80.11,
    0.05: 86.27,
    0.1: 89.37,
    0.2: 92.35,
    0.4: 94.71,
    0.6: 95.59,
    0.8: 95.92,
    0.999999: 96.0,
}


@pytest.mark.parametrize(("ratio", "product"), F_RE.items())
def test_friction_as_in_the_table(ratio: float, product: float) -> None:
    assert annulus_f_re(ratio) == pytest.approx(product, abs=0.0051)


def test_the_limit_of_a_thin_annulus_joins_smoothly() -> None:
    assert annulus_f_re(1 - 1.01e-4) == pytest.approx(96, rel=1e-6)


def test_a_worked_case() -> None:
    """Bore 10 mm, shaft 5 mm, 0.4 m, 1.8e-5 Pa s, 10 Pa: 2.5768 L/min against 20.453 L/min empty (computed)."""
    radius_m, shaft_m, length_m, viscosity, drop_pa = 5e-3, 2.5e-3, 0.4, 1.8e-5, 10.0
    empty = math.pi * drop_pa * radius_m**4 / (8 * viscosity * length_m)
    assert empty * 60_000 == pytest.approx(20.453, abs=5e-4)
    taken = (radius_m**2 - shaft_m**2) ** 2 / math.log(radius_m / shaft_m)
    annulus = math.pi * drop_pa / (8 * viscosity * length_m) * (radius_m**4 - shaft_m**4 - taken)
    assert annulus * 60_000 == pytest.approx(2.5768, abs=5e-5)
    assert pressure_drop_ratio(10, 5) == pytest.approx(empty / annulus, rel=1e-12)
    assert 1 / pressure_drop_ratio(10, 5) == pytest.approx(0.126, abs=5e-4)


def test_the_short_cut_by_hydraulic_diameter_alone_is_not_taken() -> None:
    """A pipe of the annulus' hydraulic diameter would give 6.719 Pa where it is 10 Pa (computed)."""
    assert 10 * 64 / annulus_f_re(0.5) == pytest.approx(6.719, abs=5e-4)


@given(st.floats(0.01, 0.98), st.floats(1e-3, 0.01))
def test_a_thicker_shaft_resists_more(ratio: float, more: float) -> None:
    assert 1 < pressure_drop_ratio(1, ratio) < pressure_drop_ratio(1, ratio + more)


def test_what_shafts_leave_open() -> None:
    assert free_area_mm2(10, [6, 8]) == 0
    assert free_area_mm2(10, [6]) == pytest.approx(math.pi * 16)
    assert free_share(10, [6]) == pytest.approx(0.64)
    assert hydraulic_diameter_mm(10, [6]) == pytest.approx(4)  # an annulus: the difference of the diameters
    assert hydraulic_diameter_mm(10, []) == pytest.approx(10)


@pytest.mark.parametrize("ratio", [0.0, 1.0, -0.5, 2.0, math.nan])
def test_a_shaft_as_wide_as_the_bore_has_no_annulus(ratio: float) -> None:
    with pytest.raises(ValueError, match="radius ratio"):
        annulus_f_re(ratio)
