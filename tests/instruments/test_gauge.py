"""French gauge, always with millimetres."""

from __future__ import annotations

import pytest

from instruments.gauge import diameter_mm, french, in_column, millimetres

# ISO 8836:2014, 5.1 to 5.2: French in thirds of a millimetre.
FRENCH = {5: 1.67, 6: 2.00, 8: 2.67, 10: 3.33, 12: 4.00, 14: 4.67, 16: 5.33, 18: 6.00, 20: 6.67}


@pytest.mark.parametrize(("gauge", "diameter"), FRENCH.items())
def test_french_is_a_third_of_a_millimetre(gauge: int, diameter: float) -> None:
    assert diameter_mm(gauge) == pytest.approx(diameter, abs=0.005)


@pytest.mark.parametrize(
    ("diameter", "words"),
    [(16 / 3, "16 Fr (5.3 mm)"), (8.0, "24 Fr (8.0 mm)"), (5.5, "16.5 Fr (5.5 mm)"), (10.0, "30 Fr (10.0 mm)")],
)
def test_a_gauge_is_shown_with_millimetres(diameter: float, words: str) -> None:
    """30 Fr is 10 mm of diameter, not of circumference."""
    assert french(diameter).replace("\N{NO-BREAK SPACE}", " ") == words


def test_a_gauge_carries_its_tolerance() -> None:
    assert french(2.0, 0.05).replace("\N{NO-BREAK SPACE}", " ") == "6 Fr (2.0 ± 0.05 mm)"


@pytest.mark.parametrize(
    ("length", "words"),
    [(0.4, "0.40"), (-0.65, "\N{MINUS SIGN}0.65"), (0.125, "0.125"), (-1e-7, "0.00"), (12, "12.00")],
)
def test_a_figure_in_a_column_of_millimetres(length: float, words: str) -> None:
    assert in_column(length) == words


def test_no_gauge_without_a_diameter() -> None:
    with pytest.raises(ValueError, match="above 0"):
        french(0)
    with pytest.raises(ValueError, match="above 0"):
        diameter_mm(-3)


@pytest.mark.parametrize(
    ("length", "tolerance", "words"),
    [
        (8.6, 0, "8.6 mm"),
        (430, 0, "430.0 mm"),
        (7.25, 0.05, "7.25 ± 0.05 mm"),
        (9.0013977, 0, "9.001 mm"),
        (-1.5, 0, "-1.5 mm"),
        (-0.0001, 0, "0.0 mm"),
    ],
)
def test_lengths_in_words(length: float, tolerance: float, words: str) -> None:
    assert millimetres(length, tolerance).replace("\N{NO-BREAK SPACE}", " ") == words
