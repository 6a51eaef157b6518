"""Lengths and French gauge in words; French is never shown without millimetres."""

from __future__ import annotations

FRENCH_PER_MM = 3  # French gauge counts thirds of a millimetre of outer diameter: ISO 8836:2014, 5.1
NO_BREAK = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"


def millimetres(length_mm: float, tolerance_mm: float = 0.0) -> str:
    """A length for people, to the micrometre at most: "8.6 mm", "7.25 ± 0.05 mm".

    Args:
        length_mm: the length [mm].
        tolerance_mm: its symmetric tolerance [mm]; 0 leaves it out.
    """
    tolerance = f"{NO_BREAK}±{NO_BREAK}{_figure(tolerance_mm)}" if tolerance_mm else ""
    return f"{_figure(length_mm)}{tolerance}{NO_BREAK}mm"


def french(diameter_mm: float, tolerance_mm: float = 0.0) -> str:
    """French gauge of an outer diameter, always with millimetres: "16 Fr (5.3 mm)", "6 Fr (2.0 ± 0.05 mm)".

    French is three times the diameter, not the circumference. A gauge between two whole numbers keeps
    one decimal.

    Args:
        diameter_mm: outer diameter [mm], above 0.
        tolerance_mm: its symmetric tolerance [mm]; 0 leaves it out and rounds the diameter to a tenth.

    Raises:
        ValueError: the diameter is not above 0.

    Source:
        ISO 8836:2014, 5.1.
    """
    if not diameter_mm > 0:
        raise ValueError(f"Cannot name the gauge of {diameter_mm} mm: it must be above 0.")
    gauge = f"{diameter_mm * FRENCH_PER_MM:.1f}".removesuffix(".0")
    words = millimetres(diameter_mm, tolerance_mm) if tolerance_mm else f"{diameter_mm:.1f}{NO_BREAK}mm"
    return f"{gauge}{NO_BREAK}Fr ({words})"


def diameter_mm(gauge_fr: float) -> float:
    """Outer diameter [mm] of a French gauge.

    Args:
        gauge_fr: French gauge, above 0.

    Raises:
        ValueError: the gauge is not above 0.
    """
    if not gauge_fr > 0:
        raise ValueError(f"Cannot convert a gauge of {gauge_fr} Fr: it must be above 0.")
    return gauge_fr / FRENCH_PER_MM


def in_column(length_mm: float) -> str:
    """A length for a column whose heading says millimetres: two decimals, a third where it is needed."""
    figure = f"{round(length_mm, 3) + 0.0:.3f}".removesuffix("0")
    return figure.replace("-", MINUS)


def _figure(value: float) -> str:
    """One to three decimals, no minus before a zero."""
    whole, _, decimals = f"{round(value, 3) + 0.0:.3f}".partition(".")
    return f"{whole}.{decimals.rstrip('0') or '0'}"
