"""Reach, seals, couplings, optical forceps and the delivery of an implant; dimensions are invented."""

from __future__ import annotations

from dataclasses import replace

import pytest

from instruments.fit import Dimension, Fit, Judgement, Measure
from instruments.joints import (
    Adapter,
    Telescope,
    carries,
    couples,
    port_serves,
    reaches_past,
    seal_closes,
    seal_serves,
    stays_within,
)

BARREL = Measure("Barrel", Dimension(400, 1))
BASE = Measure("Base", Dimension(20, 0.5))
SEAL = Measure("Seal", Dimension(2))
UNKNOWN = Measure("Unknown", None)


def words(judgement: Judgement) -> str:
    return " ".join(finding.words for finding in judgement.findings).replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("length", "fit"),
    [(430, Fit.FITS), (428.5, Fit.FITS), (428.4, Fit.TIGHT), (425.5, Fit.TIGHT), (425.4, Fit.DOES_NOT_FIT)],
)
def test_a_telescope_reaches_past_barrel_base_and_seal(length: float, fit: Fit) -> None:
    """400 + 20 + 2 and 5 past the tip; the tolerances of barrel and base add up to 1.5."""
    telescope = Measure("Telescope", Dimension(length))
    judgement = reaches_past(telescope, [BARREL, BASE, SEAL], 5)
    assert judgement.fit is fit
    assert judgement.findings[0].numbers["past_end_mm"] == pytest.approx(length - 422)


def test_reach_in_words() -> None:
    judgement = reaches_past(Measure("Telescope", Dimension(420)), [BARREL, BASE, SEAL], 5)
    assert words(judgement) == (
        "Cannot reach past Barrel + Base + Seal with Telescope: its tip is -2.0 ± 1.5 mm past the end, "
        "must be 5.0 mm or more. Choose a longer one, or a shorter way."
    )


def test_reach_that_nobody_recorded() -> None:
    assert reaches_past(UNKNOWN, [BARREL], 5).fit is Fit.NOT_MEASURED
    assert reaches_past(BARREL, [UNKNOWN], 5).fit is Fit.NOT_MEASURED
    unstated = reaches_past(BARREL, [BASE], None)
    assert unstated.fit is Fit.NOT_MEASURED
    assert unstated.findings[0].subject == "the wanted reach of Barrel"


@pytest.mark.parametrize(
    ("length", "fit"), [(398, Fit.FITS), (399, Fit.FITS), (400.5, Fit.TIGHT), (401.1, Fit.DOES_NOT_FIT)]
)
def test_a_sheath_never_protrudes(length: float, fit: Fit) -> None:
    assert stays_within(Measure("Sheath", Dimension(length)), [BARREL]).fit is fit


def test_a_sheath_without_a_length_is_not_measured() -> None:
    assert stays_within(UNKNOWN, [BARREL]).fit is Fit.NOT_MEASURED


def test_a_port_takes_a_seal_of_its_own_fitting() -> None:
    assert seal_closes("Port A", "K1", "Seal", " k1 ").fit is Fit.FITS
    other = seal_closes("Port A", "K1", "Seal", "K2")
    assert other.fit is Fit.DOES_NOT_FIT
    assert (
        words(other) == "Cannot use Seal with Port A: its fitting is K2, must be K1. Choose one whose fitting matches."
    )
    unknown = seal_closes("Port A", "", "Seal", "K2")
    assert unknown.fit is Fit.NOT_MEASURED
    assert unknown.findings[0].subject == "Port A (fitting)"


@pytest.mark.parametrize(
    ("openings", "widths", "fit"),
    [
        (1, [], Fit.FITS),
        (1, [4.0], Fit.FITS),
        (1, [4.0, 2.0], Fit.DOES_NOT_FIT),
        (2, [4.0, 2.0], Fit.FITS),
        (2, [4.05, 2.0], Fit.TIGHT),
        (2, [4.3, 2.0], Fit.DOES_NOT_FIT),
    ],
)
def test_a_seal_serves_in_number_and_width(openings: int, widths: list[float], fit: Fit) -> None:
    seal = Measure("Seal", Dimension(4.1, 0.1))
    shafts = [Measure(f"Shaft {width}", Dimension(width)) for width in widths]
    assert seal_serves(seal, openings, shafts).fit is fit


def test_a_port_takes_the_shafts_that_go_through_it() -> None:
    port = Measure("Port", Dimension(8.6))
    assert port_serves(port, [], 0.2).fit is Fit.FITS
    both = [Measure("A", Dimension(5.5)), Measure("B", Dimension(2.5))]
    assert port_serves(port, both, 0.2).fit is Fit.FITS
    assert port_serves(port, both, 0.3).fit is Fit.DOES_NOT_FIT


def test_couplings_match_by_name_or_by_one_adapter() -> None:
    bridge = Adapter("Adapter 3", ("C2", "C1"))
    assert couples(("Barrel", "C1"), ("Base", "c1")).fit is Fit.FITS
    assert couples(("Barrel", "C1"), ("Base", "C2")).fit is Fit.DOES_NOT_FIT
    bridged = couples(("Barrel", "C1"), ("Base", "C2"), [Adapter("Adapter 1", ("C1", "C3")), bridge])
    assert bridged.fit is Fit.FITS
    assert bridged.findings[0].numbers == {"adapter": "Adapter 3"}
    assert "adapter" not in couples(("Barrel", "C1"), ("Base", "C1"), [bridge]).findings[0].numbers
    assert couples(("Barrel", "C1"), ("Base", ""), [Adapter("Odd", ("C1", ""))]).fit is Fit.NOT_MEASURED


MADE_FOR = Telescope("Forceps", Dimension(4.0), Dimension(430), 0, "L1")


@pytest.mark.parametrize(
    ("changed", "fit", "slug"),
    [
        ({}, Fit.FITS, None),
        ({"width": Dimension(2.9)}, Fit.DOES_NOT_FIT, "optical-diameter"),
        ({"length": Dimension(500)}, Fit.DOES_NOT_FIT, "optical-length"),
        ({"view_deg": 30}, Fit.DOES_NOT_FIT, "optical-view"),
        ({"lock": "L2"}, Fit.DOES_NOT_FIT, "optical-lock"),
        ({"width": None}, Fit.NOT_MEASURED, "optical-diameter"),
        ({"view_deg": None}, Fit.NOT_MEASURED, "optical-view"),
        ({"lock": ""}, Fit.NOT_MEASURED, "optical-lock"),
    ],
)
def test_an_optical_forceps_takes_the_telescope_it_is_made_for(
    changed: dict[str, object], fit: Fit, slug: str | None
) -> None:
    judgement = carries(MADE_FOR, replace(MADE_FOR, name="Telescope", **changed))  # type: ignore[arg-type]
    assert judgement.fit is fit
    assert [finding.slug for finding in judgement.findings if finding.severity != "note"] == ([slug] if slug else [])
