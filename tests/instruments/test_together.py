"""What goes through together: the closed forms of many at once agree with the single question."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.fit import Dimension, Fit, co_passage, fit_together
from instruments.together import GROUPS, Choice, go_together, required_bores_mm

TENTHS = st.integers(2, 90).map(lambda n: n / 10)
GAPS = st.sampled_from([0.0, 0.1, 0.25])
SIZES = st.lists(st.builds(Dimension, TENTHS, st.sampled_from([0.0, 0.05, 0.1])), max_size=3)

# Check values of plane geometry, gap 0: radii 1, 2, 3 need 5 (the outer tangent circle of 6 is a trap), 3, 3, 2
# are the boundary, 5, 4, 3 need the outer circle of Descartes' theorem, 2.75, 1.5, 1.2 do not.
TRIPLES = {(2, 4, 6): 10, (6, 6, 4): 12, (10, 8, 6): 18.002796, (5.5, 3, 2.4): 8.5, (2, 2, 2): 2 * 2.154700538}


def test_three_shafts_as_by_hand() -> None:
    assert required_bores_mm(list(TRIPLES), 0).tolist() == pytest.approx(list(TRIPLES.values()), abs=1e-6)
    assert required_bores_mm([[5.5]], 0.2).tolist() == pytest.approx([5.9])
    assert required_bores_mm([[2.5, 5.5]], 0.2).tolist() == pytest.approx([8.6])


@settings(deadline=None)
@given(st.lists(st.lists(TENTHS, min_size=3, max_size=3), min_size=1, max_size=5), st.integers(1, 3), GAPS)
def test_many_at_once_need_what_each_needs_alone(rows: list[list[float]], count: int, gap: float) -> None:
    rows = [row[:count] for row in rows]
    alone = [co_passage(100, row, gap).required_bore_mm for row in rows]
    assert required_bores_mm(rows, gap).tolist() == pytest.approx(alone, rel=1e-9)


@settings(deadline=None)
@given(st.builds(Dimension, TENTHS, st.just(0.05)), st.tuples(SIZES, SIZES, SIZES), GAPS)
def test_a_group_lists_what_the_single_question_passes(
    bore: Dimension, sizes: tuple[list[Dimension], ...], gap: float
) -> None:
    shafts = dict(zip(("telescope", "forceps", "suction"), sizes, strict=True))
    groups = {group.roles: group for group in go_together(bore, shafts, gap)}
    for roles in GROUPS:
        lists = [shafts.get(role, []) for role in roles]
        if not all(lists):
            assert roles not in groups
            continue
        fits = {
            at: fit_together(bore, [row[i] for row, i in zip(lists, at, strict=True)], gap)
            for at in product(*(range(len(row)) for row in lists))
        }
        group, verdicts = groups[roles], list(fits.values())
        passing = {at: fit for at, fit in fits.items() if fit is not Fit.DOES_NOT_FIT}
        assert {choice.shafts: choice.fit for choice in group.first} == passing
        assert (group.asked, group.fitting, group.tight) == (
            len(fits), verdicts.count(Fit.FITS), verdicts.count(Fit.TIGHT),
        )  # fmt: skip


def test_what_fits_stands_before_what_is_tight_and_the_widest_first() -> None:
    bore = Dimension(8.0, 0.05)
    shafts = {
        "telescope": [Dimension(2.7), Dimension(4.0), Dimension(5.5)],
        "suction": [Dimension(2.0), Dimension(3.4)],
    }
    (group,) = go_together(bore, shafts, 0.2)
    # 8 - 4 - 2 - 0.6, 8 - 2.7 - 3.4 - 0.6, 8 - 2.7 - 2 - 0.6; 8 - 4 - 3.4 - 0.6 is 0: the bore's tolerance decides
    found = [(choice.shafts, choice.fit) for choice in group.first]
    assert found == [((0, 1), Fit.FITS), ((1, 0), Fit.FITS), ((0, 0), Fit.FITS), ((1, 1), Fit.TIGHT)]
    assert [choice.spare_mm for choice in group.first] == pytest.approx([1.3, 1.4, 2.7, 0])
    assert group.first[1].free_share == pytest.approx(1 - (4**2 + 2**2) / 8**2)
    assert (group.asked, group.fitting, group.tight) == (6, 3, 1)
    (few,) = go_together(bore, shafts, 0.2, most=1)
    assert [type(choice) for choice in few.first] == [Choice]
    assert few.tight == 1


@pytest.mark.parametrize(
    ("widths", "gap"),
    [
        ([1.0, 2.0], 0),
        ([[1.0] * 4], 0),
        ([[]], 0),
        ([[0.0, 1.0]], 0),
        ([[np.nan]], 0),
        ([[1.0]], -0.1),
        ([[1.0]], np.nan),
    ],
)
def test_what_is_no_choice_is_refused(widths: list[object], gap: float) -> None:
    with pytest.raises(ValueError, match="Cannot judge"):
        required_bores_mm(widths, gap)  # type: ignore[arg-type]
