"""What a set-up leaves open, with flow solved anew on a grid as the outside check."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.linalg import spsolve

from instruments.airflow import least_pressure_drop_ratio, pressure_drop_ratio
from instruments.fit import Dimension
from instruments.lumens import lumens_of
from instruments.mounting import Mounting, Shaft, Tube

BARREL = Tube("Barrel", Dimension(8.0), Dimension(9.0), Dimension(430))


def shaft(width_mm: float | None, name: str = "Shaft") -> Shaft:
    return Shaft(name, None if width_mm is None else Dimension(width_mm), None)


def test_one_shaft_has_the_annulus_ratio() -> None:
    """Worked case of the annulus: 5 mm in 10 mm lets 2.5768 of 20.453 L/min through, ratio 0.126."""
    (lumen,) = lumens_of(Mounting(replace(BARREL, bore=Dimension(10)), shafts=(shaft(5.0),)), 0.2)
    assert lumen.drop_ratio == pytest.approx(20.453 / 2.5768, rel=1e-3)
    assert lumen.least_drop_ratio == pytest.approx(1 / 0.75**2)


def test_several_shafts_have_a_bound_only() -> None:
    """4.0 and 2.5 leave 64 - 16 - 6.25 of 64."""
    (lumen,) = lumens_of(Mounting(BARREL, shafts=(shaft(4.0), shaft(2.5, "Other"))), 0.2)
    assert lumen.drop_ratio is None
    assert lumen.least_drop_ratio == pytest.approx((64 / 41.75) ** 2)
    assert lumen.passage is not None


def test_what_is_not_measured_or_fills_the_bore_has_no_figure() -> None:
    (unknown,) = lumens_of(Mounting(BARREL, shafts=(shaft(None),)), 0.2)
    assert (unknown.passage, unknown.drop_ratio, unknown.least_drop_ratio) == (None, None, None)
    (unknown,) = lumens_of(Mounting(replace(BARREL, bore=None), shafts=(shaft(2.0),)), 0.2)
    assert unknown.passage is None
    (full,) = lumens_of(Mounting(BARREL, shafts=(shaft(8.0),)), 0.2)
    assert (full.drop_ratio, full.least_drop_ratio) == (None, None)
    assert full.passage is not None
    assert least_pressure_drop_ratio(8.0, [8.0]) == math.inf


def test_a_sheath_makes_two_lumens() -> None:
    sheath = Tube("Sheath", Dimension(6.8), Dimension(7.4), Dimension(420))
    found = lumens_of(Mounting(BARREL, shafts=(shaft(4.0),), sheath=sheath), 0.2)
    assert [(lumen.tube.name, lumen.contents[0].name) for lumen in found] == [
        ("Barrel", "Sheath"),
        ("Sheath", "Shaft"),
    ]
    assert lumens_of(Mounting(BARREL), 0.2) == ()


@given(st.floats(0.001, 0.999))
def test_the_bound_is_below_the_annulus(share: float) -> None:
    assert least_pressure_drop_ratio(1.0, [share]) <= pressure_drop_ratio(1.0, share)


def flow(bore_mm: float, shafts: list[tuple[float, float, float]], across: int = 161) -> float:
    """Laminar flow by the five-point Poisson equation on a grid, solved with scipy; any unit."""
    ticks = np.linspace(-bore_mm / 2, bore_mm / 2, across)
    x, y = np.meshgrid(ticks, ticks)
    open_ = np.hypot(x, y) < bore_mm / 2
    for size, at_x, at_y in shafts:
        open_ &= np.hypot(x - at_x, y - at_y) > size / 2
    number = np.full(open_.shape, -1)
    number[open_] = np.arange(open_.sum())
    rows, columns = [], []
    for step_x, step_y in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        near = np.roll(number, (step_x, step_y), (0, 1))[open_]
        rows.append(number[open_][near >= 0])
        columns.append(near[near >= 0])
    row, column = np.concatenate(rows), np.concatenate(columns)
    count = int(open_.sum())
    matrix = sparse.diags_array(np.full(count, 4.0)) - sparse.csc_array(
        (np.ones(len(row)), (row, column)), (count, count)
    )
    step = ticks[1] - ticks[0]
    return float(spsolve(matrix.tocsc(), np.full(count, step**2)).sum() * step**2)


def test_the_figures_against_flow_solved_on_a_grid() -> None:
    """In the middle: the formula to 4 %. At the wall, and two shafts: the bound is below what is solved."""
    empty = flow(8.0, [])
    assert empty / flow(8.0, [(4.0, 0, 0)]) == pytest.approx(pressure_drop_ratio(8.0, 4.0), rel=0.04)
    aside = empty / flow(8.0, [(4.0, 2.0, 0)])
    assert least_pressure_drop_ratio(8.0, [4.0]) < aside < pressure_drop_ratio(8.0, 4.0)
    two = empty / flow(8.0, [(4.0, 1.5, 0), (2.5, -2.2, 0)])
    assert least_pressure_drop_ratio(8.0, [4.0, 2.5]) < two
