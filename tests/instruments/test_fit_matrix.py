"""Many at once agree with one at a time."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.fit import Dimension, Fit, Measure, fit_together, fits, verdict
from instruments.fit_matrix import Together, clearances_mm, go_together, pairs_per_bore

SIZES = st.lists(
    st.none() | st.builds(Dimension, st.integers(10, 90).map(lambda n: n / 10), st.sampled_from([0.0, 0.05, 0.1])),
    min_size=1,
    max_size=6,
)
TENTHS = st.lists(st.integers(10, 90).map(lambda n: n / 10), max_size=8)


@given(SIZES, SIZES, st.sampled_from([0.0, 0.1, 0.25]))
def test_the_matrix_says_what_the_single_question_says(
    bores: list[Dimension | None], shafts: list[Dimension | None], gap: float
) -> None:
    least, most = clearances_mm(bores, shafts, gap)
    assert least.shape == (len(bores), len(shafts))
    for row, bore in enumerate(bores):
        for column, shaft in enumerate(shafts):
            if bore is None or shaft is None:
                assert np.isnan(least[row, column])
                assert np.isnan(most[row, column])
            else:
                fit = verdict(least[row, column], most[row, column])
                assert fit is fit_together(bore, [shaft], gap)


@settings(deadline=None)
@given(TENTHS, TENTHS, st.sampled_from([0.0, 0.1, 0.25]))
def test_pairs_are_counted_as_by_hand(bores: list[float], shafts: list[float], gap: float) -> None:
    counts = [sum(fits(bore, pair, gap) for pair in combinations(shafts, 2)) for bore in bores]
    assert pairs_per_bore(bores, shafts, gap).tolist() == counts


def test_what_can_go_through_together() -> None:
    bore = Measure("Barrel", Dimension(8.6))
    shafts = [
        Measure("Telescope", Dimension(5.5)),
        Measure("Unmeasured", None),
        Measure("Suction", Dimension(2.5)),
        Measure("Probe", Dimension(1.0, 0.05)),
        Measure("Dilator", Dimension(8.15, 0.1)),
        Measure("Bougie", Dimension(9.0)),
    ]
    assert go_together(bore, shafts, 0.2) == (
        Together(("Telescope",), Fit.FITS),
        Together(("Suction",), Fit.FITS),
        Together(("Probe",), Fit.FITS),
        Together(("Dilator",), Fit.TIGHT),
        Together(("Telescope", "Suction"), Fit.FITS),
        Together(("Telescope", "Probe"), Fit.FITS),
        Together(("Suction", "Probe"), Fit.FITS),
        Together(("Telescope", "Suction", "Probe"), Fit.FITS),
    )
    assert go_together(Measure("Barrel", None), shafts, 0.2) == ()


@settings(max_examples=30, deadline=None)
@given(TENTHS, st.integers(20, 120).map(lambda n: n / 10))
def test_every_choice_that_passes_is_listed(shafts: list[float], bore: float) -> None:
    found = go_together(
        Measure("Bore", Dimension(bore)), [Measure(str(i), Dimension(d)) for i, d in enumerate(shafts)], 0.1
    )
    indices = range(len(shafts))
    choices = [choice for count in (1, 2, 3) for choice in combinations(indices, count)]
    passing = [choice for choice in choices if fits(bore, [shafts[i] for i in choice], 0.1)]
    assert [together.names for together in found] == [tuple(map(str, choice)) for choice in passing]


def test_what_is_no_question_is_refused() -> None:
    with pytest.raises(ValueError, match="gap"):
        clearances_mm([], [], -0.1)
    with pytest.raises(ValueError, match="finite"):
        pairs_per_bore([np.nan], [1.0], 0)
    with pytest.raises(ValueError, match="finite"):
        pairs_per_bore([1.0], [1.0], -1)
