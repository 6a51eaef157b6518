"""Many at once agree with one at a time."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.fit import Dimension, Fit, fit_together, fits, verdict
from instruments.fit_matrix import Clearance, clearances_mm, fit_matrix, pairs_per_bore

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


def test_a_cell_says_verdict_and_clearance_or_that_nothing_was_measured() -> None:
    bores = [Dimension(7.0, 0.05), Dimension(7.5), None]
    rows = fit_matrix(bores, [Dimension(6.6, 0.05), Dimension(7.4), None], 0.2)
    assert [[cell.fit for cell in row] for row in rows] == [
        [Fit.TIGHT, Fit.FITS, Fit.NOT_MEASURED],
        [Fit.DOES_NOT_FIT, Fit.DOES_NOT_FIT, Fit.NOT_MEASURED],
        [Fit.NOT_MEASURED] * 3,
    ]
    tight = rows[0][0]
    # 7.0 - 6.6 - 2 * 0.2, and two tolerances of 0.05 for and against it
    assert [tight.nominal_mm, tight.least_mm, tight.most_mm] == pytest.approx([0, -0.1, 0.1])
    assert rows[1][1].nominal_mm == pytest.approx(-0.3)
    assert rows[2][0] == Clearance(Fit.NOT_MEASURED)


def test_what_is_no_question_is_refused() -> None:
    with pytest.raises(ValueError, match="gap"):
        clearances_mm([], [], -0.1)
    with pytest.raises(ValueError, match="finite"):
        pairs_per_bore([np.nan], [1.0], 0)
    with pytest.raises(ValueError, match="finite"):
        pairs_per_bore([1.0], [1.0], -1)
