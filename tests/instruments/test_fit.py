"""Verdicts with tolerance, and co-passage in one bore."""

from __future__ import annotations

import math
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.fit import (
    CoPassage,
    Dimension,
    Fit,
    Measure,
    all_of,
    co_passage,
    fit_together,
    fits,
    measured,
    pass_together,
    passes_through,
    verdict,
    worst,
)
from journal.findings import Severity

DIAMETER = st.floats(1.0, 6.0)
GAP = st.floats(0.0, 0.5)
BARREL = Measure("Barrel 7.5", Dimension(9.2, 0.05))
TELESCOPE = Measure("Telescope", Dimension(5.5, 0.02))
SUCTION = Measure("Suction", Dimension(2.5))


def gaps(found: CoPassage, shafts: list[float]) -> list[float]:
    """Distances between surfaces: every two shafts, every shaft and the required bore [mm]."""
    spots = [(complex(*centre), shaft / 2) for centre, shaft in zip(found.centres_mm, shafts, strict=True)]
    wall = [found.required_bore_mm / 2 - r - abs(spot) for spot, r in spots]
    return [abs(a - b) - r - s for (a, r), (b, s) in combinations(spots, 2)] + wall


def test_one_shaft_needs_a_gap_on_either_side() -> None:
    assert co_passage(9.2, [5.5], 0.2).required_bore_mm == pytest.approx(5.9, rel=1e-12)


def test_two_shafts_need_three_gaps() -> None:
    """The worked example of docs/algorithms/co-passage.md."""
    found = co_passage(9.2, [5.5, 2.5], 0.2)
    assert found.required_bore_mm == pytest.approx(8.6, rel=1e-12)
    assert found.passes
    assert found.certified
    assert found.spare_mm == pytest.approx(0.6)
    assert found.free_area_mm2 == pytest.approx(math.pi / 4 * (9.2**2 - 5.5**2 - 2.5**2))
    assert found.free_share == pytest.approx(1 - (5.5**2 + 2.5**2) / 9.2**2)
    assert found.hydraulic_diameter_mm == pytest.approx((9.2**2 - 5.5**2 - 2.5**2) / (9.2 + 5.5 + 2.5))


def test_a_third_shaft_in_the_gap_costs_nothing() -> None:
    """Radii 2.75, 1.5, 1.2: the gap beside the larger two is 1.2578, so the bore is 2 x 4.25."""
    assert co_passage(9, [5.5, 3.0, 2.4], 0).required_bore_mm == pytest.approx(8.5, rel=1e-9)


def test_equal_shafts_with_a_gap() -> None:
    """Six unit circles need a radius of 3; with a gap the circles grow by half of it."""
    found = co_passage(10, [2.8] * 6, 0.2)
    assert found.required_bore_mm == pytest.approx(3 * 3.0 + 0.2, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(DIAMETER, min_size=1, max_size=5), GAP)
def test_the_gap_is_kept_everywhere(shafts: list[float], gap: float) -> None:
    found = co_passage(20, shafts, gap)
    assert min(gaps(found, shafts)) >= gap - 1e-10


@settings(max_examples=25, deadline=None)
@given(st.lists(DIAMETER, min_size=1, max_size=5), GAP)
def test_verdicts_5_micrometres_beside_the_limit(shafts: list[float], gap: float) -> None:
    limit = co_passage(20, shafts, gap).required_bore_mm
    assert fits(limit, shafts, gap)
    assert co_passage(limit, shafts, gap).passes
    assert fits(limit + 0.005, shafts, gap)
    assert not fits(limit - 0.005, shafts, gap)
    assert not co_passage(limit - 0.005, shafts, gap).passes


def test_an_exact_fit_in_decimal_figures_fits() -> None:
    """8.6 is not a sum of binary fractions; a bore of exactly the figure still fits."""
    assert fits(8.6, [5.5, 2.5], 0.2)
    assert co_passage(8.6, [5.5, 2.5], 0.2).passes


@given(DIAMETER, st.floats(0, 0.2), st.floats(0, 0.2), st.floats(0.5, 8), GAP)
def test_tolerance_is_carried_through(
    shaft: float, shaft_tol: float, bore_tol: float, bore: float, gap: float
) -> None:
    fit = fit_together(Dimension(bore, bore_tol), [Dimension(shaft, shaft_tol)], gap)
    least = (bore - bore_tol) - (shaft + shaft_tol) - 2 * gap
    most = (bore + bore_tol) - (shaft - shaft_tol) - 2 * gap
    if min(abs(least), abs(most)) > 1e-6:
        assert fit == (Fit.FITS if least > 0 else Fit.TIGHT if most > 0 else Fit.DOES_NOT_FIT)


def test_it_fits_in_words() -> None:
    judgement = pass_together(BARREL, [TELESCOPE, SUCTION], 0.2)
    assert judgement.fit is Fit.FITS
    (finding,) = judgement.findings
    assert finding.severity is Severity.NOTE
    assert finding.words.replace("\N{NO-BREAK SPACE}", " ") == (
        "Telescope + Suction go through Barrel 7.5: "
        "its bore is 9.2 ± 0.05 mm, must be at least 8.6 mm with gaps of 0.2 mm."
    )
    assert finding.numbers["required_bore_mm"] == pytest.approx(8.6)


def test_a_straddled_limit_is_tight_and_never_fits() -> None:
    judgement = passes_through(Measure("Barrel 5", Dimension(5.9, 0.05)), TELESCOPE, 0.2)
    assert judgement.fit is Fit.TIGHT
    assert judgement.findings[0].severity is Severity.LOOK
    assert "goes through Barrel 5 only if the tolerances allow" in judgement.findings[0].sentence


def test_it_does_not_fit_with_what_to_do() -> None:
    judgement = passes_through(Measure("Barrel 5", Dimension(5.0)), TELESCOPE, 0.2)
    assert judgement.fit is Fit.DOES_NOT_FIT
    assert judgement.findings[0].severity is Severity.STOP
    assert judgement.findings[0].remedy == "Choose a wider bore or thinner shafts."


@pytest.mark.parametrize("lacking", [0, 1, 2])
def test_a_missing_dimension_is_never_a_default(lacking: int) -> None:
    measures = [BARREL, TELESCOPE, SUCTION]
    measures[lacking] = Measure("The unmeasured one", None)
    judgement = pass_together(measures[0], measures[1:], 0.2)
    assert judgement.fit is Fit.NOT_MEASURED
    assert judgement.findings[0].subject == "The unmeasured one"
    assert "not recorded" in judgement.findings[0].sentence


def test_an_unproven_answer_says_so() -> None:
    shafts = [Measure(f"Shaft {d}", Dimension(d)) for d in (2.38, 2.1, 1.98, 1.76, 1.72, 1.66)]
    judgement = pass_together(Measure("Bore", Dimension(6.0)), shafts, 0.0)
    assert not co_passage(6.0, [2.38, 2.1, 1.98, 1.76, 1.72, 1.66], 0).certified
    assert "the best known" in judgement.findings[0].sentence


@pytest.mark.parametrize(
    ("least", "most", "fit"),
    [(0.0, 1.0, Fit.FITS), (-1e-12, 0.0, Fit.FITS), (-0.1, 0.0, Fit.TIGHT), (-0.2, -0.1, Fit.DOES_NOT_FIT)],
)
def test_a_margin_decides(least: float, most: float, fit: Fit) -> None:
    assert verdict(least, most) is fit


def test_several_questions_have_the_worst_verdict() -> None:
    assert worst([]) is Fit.FITS
    assert worst([Fit.FITS, Fit.TIGHT]) is Fit.TIGHT
    assert worst([Fit.TIGHT, Fit.NOT_MEASURED]) is Fit.NOT_MEASURED
    assert worst([Fit.NOT_MEASURED, Fit.DOES_NOT_FIT]) is Fit.DOES_NOT_FIT
    both = all_of([passes_through(BARREL, TELESCOPE, 0.2), passes_through(BARREL, Measure("Probe", None), 0.2)])
    assert both.fit is Fit.NOT_MEASURED
    assert [finding.severity for finding in both.findings] == [Severity.NOTE, Severity.LOOK]


def test_a_dimension_from_a_record() -> None:
    assert measured(None) is None
    size = measured(Decimal("9.200"), Decimal("0.050"))
    assert size == Dimension(9.2, 0.05)
    assert (size.low_mm, size.high_mm) == pytest.approx((9.15, 9.25))


@pytest.mark.parametrize(("nominal", "tolerance"), [(0, 0), (-1, 0), (1, 1), (1, -0.1), (math.nan, 0), (math.inf, 0)])
def test_what_is_no_dimension_is_refused(nominal: float, tolerance: float) -> None:
    with pytest.raises(ValueError, match="Cannot take a dimension"):
        Dimension(nominal, tolerance)


@pytest.mark.parametrize(
    ("bore", "shafts", "gap"),
    [(9, [], 0), (9, [1] * 7, 0), (0, [1], 0), (9, [0], 0), (9, [1], -0.1), (math.nan, [1], 0), (9, [1], math.inf)],
)
def test_what_is_no_question_is_refused(bore: float, shafts: list[float], gap: float) -> None:
    for ask in (co_passage, fits):
        with pytest.raises(ValueError, match="Cannot judge"):
            ask(bore, shafts, gap)
