"""Does it fit: dimensions with tolerance, verdicts, and what goes through a bore.

Round, rigid, straight shafts and tubes only: no bend, taper, burr or non-round tip is known here. A part's
greatest insertion width is its width. The running gap is an argument; a dimension that was never measured
gives "not measured", never a default.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from instruments.airflow import free_area_mm2, free_share, hydraulic_diameter_mm
from instruments.gauge import millimetres
from instruments.packing import fits_within, smallest_enclosing
from journal.findings import Finding, Severity

MOST_SHAFTS = 6
ROUNDING_MM = 1e-9  # what sums of decimal figures may be out by; no dimension is known so well


class Fit(StrEnum):
    """The verdict; tight means that the tolerances decide."""

    FITS = "fits"
    TIGHT = "tight"
    DOES_NOT_FIT = "does not fit"
    NOT_MEASURED = "not measured"


SEVERITIES = {
    Fit.FITS: Severity.NOTE,
    Fit.TIGHT: Severity.LOOK,
    Fit.DOES_NOT_FIT: Severity.STOP,
    Fit.NOT_MEASURED: Severity.LOOK,
}
MEASURE_IT = "Measure it, or enter it from the manufacturer's data."
WORST_FIRST = (Fit.DOES_NOT_FIT, Fit.NOT_MEASURED, Fit.TIGHT, Fit.FITS)


@dataclass(frozen=True, slots=True)
class Dimension:
    """A length with a symmetric tolerance.

    Args:
        nominal_mm: the figure [mm], above 0.
        tolerance_mm: how far the piece may be off, either way [mm], from 0 to less than the figure.

    Raises:
        ValueError: a figure is out of range.
    """

    nominal_mm: float
    tolerance_mm: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.nominal_mm) and 0 <= self.tolerance_mm < self.nominal_mm):
            words = f"{self.nominal_mm} ± {self.tolerance_mm} mm"
            raise ValueError(f"Cannot take a dimension of {words}: it must be above 0, the tolerance below it.")

    @property
    def low_mm(self) -> float:
        """The least it can be [mm]."""
        return self.nominal_mm - self.tolerance_mm

    @property
    def high_mm(self) -> float:
        """The most it can be [mm]."""
        return self.nominal_mm + self.tolerance_mm

    @property
    def words(self) -> str:
        """For people, with its tolerance."""
        return millimetres(self.nominal_mm, self.tolerance_mm)


@dataclass(frozen=True, slots=True)
class Measure:
    """One dimension of one thing.

    Args:
        name: the thing as a person would name it ("Telescope 4.0, 0°").
        size: the dimension; None = not measured.
    """

    name: str
    size: Dimension | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and the findings behind it, each with its rule in words and its numbers."""

    fit: Fit
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class CoPassage:
    """Shafts side by side in one bore, at nominal dimensions.

    Args:
        required_bore_mm: least bore that holds the shafts with the gap everywhere [mm].
        passes: the bore is at least that.
        spare_mm: bore less required bore [mm]; negative when it does not pass.
        certified: the required bore is proven least; otherwise the best known, never too small.
        free_area_mm2: cross-section that the shafts leave open in the bore given [mm²].
        free_share: that, as a share of the empty bore.
        hydraulic_diameter_mm: of what is left open [mm].
        centres_mm: x and y of each shaft in the required bore, in the order given [mm].
    """

    required_bore_mm: float
    passes: bool
    spare_mm: float
    certified: bool
    free_area_mm2: float
    free_share: float
    hydraulic_diameter_mm: float
    centres_mm: tuple[tuple[float, float], ...]


def measured(nominal_mm: Decimal | float | None, tolerance_mm: Decimal | float = 0) -> Dimension | None:
    """A dimension from a record, None where the record has none."""
    return None if nominal_mm is None else Dimension(float(nominal_mm), float(tolerance_mm))


def worst(fits: Iterable[Fit]) -> Fit:
    """The verdict of several that must all hold; nothing to ask fits."""
    asked = set(fits)
    return next((fit for fit in WORST_FIRST if fit in asked), Fit.FITS)


def all_of(judgements: Iterable[Judgement]) -> Judgement:
    """Several questions as one: the worst verdict, every finding."""
    asked = tuple(judgements)
    return Judgement(
        worst(judgement.fit for judgement in asked),
        tuple(finding for judgement in asked for finding in judgement.findings),
    )


def verdict(least_mm: float, most_mm: float) -> Fit:
    """Verdict of a margin that must not be negative.

    Args:
        least_mm: the margin when every tolerance is against it [mm].
        most_mm: the margin when every tolerance favours it [mm].
    """
    if least_mm >= -ROUNDING_MM:
        return Fit.FITS
    return Fit.TIGHT if most_mm >= -ROUNDING_MM else Fit.DOES_NOT_FIT


def co_passage(bore_mm: float, shafts_mm: Sequence[float], gap_mm: float) -> CoPassage:
    """Smallest bore for shafts that are in it at once, each free to move, and what they leave open.

    The gap is the least distance between any two surfaces, the wall included. Growing every shaft by the
    gap reduces the question to touching discs: D = 2 R((d + gap)/2) + gap.

    Args:
        bore_mm: inner diameter [mm], above 0.
        shafts_mm: one to six outer diameters, greatest insertion width each [mm], above 0.
        gap_mm: running gap [mm], from 0.

    Returns:
        The required bore and the open area. The area is plain arithmetic on the cross-section, also where
        the shafts do not pass.

    Raises:
        ValueError: a figure is out of range.

    Source:
        docs/algorithms/co-passage.md.
    """
    _check(bore_mm, shafts_mm, gap_mm)
    packing = smallest_enclosing(_grown(shafts_mm, gap_mm))
    required_mm = 2 * packing.radius + gap_mm
    spare_mm = bore_mm - required_mm
    return CoPassage(
        required_bore_mm=required_mm,
        passes=spare_mm >= -ROUNDING_MM,
        spare_mm=spare_mm,
        certified=packing.certified,
        free_area_mm2=free_area_mm2(bore_mm, shafts_mm),
        free_share=free_share(bore_mm, shafts_mm),
        hydraulic_diameter_mm=hydraulic_diameter_mm(bore_mm, shafts_mm),
        centres_mm=packing.centres,
    )


def fits(bore_mm: float, shafts_mm: Sequence[float], gap_mm: float) -> bool:
    """Whether the shafts can be in the bore at once; bounds decide first, so most answers take microseconds.

    Args:
        bore_mm: inner diameter [mm], above 0.
        shafts_mm: one to six outer diameters [mm], above 0.
        gap_mm: running gap [mm], from 0.

    Raises:
        ValueError: a figure is out of range.
    """
    _check(bore_mm, shafts_mm, gap_mm)
    return fits_within(_grown(shafts_mm, gap_mm), (bore_mm + ROUNDING_MM - gap_mm) / 2)


def passes_through(bore: Measure, shaft: Measure, gap_mm: float) -> Judgement:
    """Whether one shaft or barrel passes through another: its outer diameter and a gap on either side.

    Args:
        bore: inner diameter of what is passed.
        shaft: outer diameter of what goes through.
        gap_mm: running gap on either side [mm], from 0.

    Raises:
        ValueError: the gap is negative.
    """
    return pass_together(bore, (shaft,), gap_mm)


def fit_together(bore: Dimension, shafts: Sequence[Dimension], gap_mm: float) -> Fit:
    """Verdict on shafts that are in a bore at once, with every tolerance carried through.

    Fits: even the largest shafts pass the smallest bore. Does not fit: not even the smallest shafts pass
    the largest bore. Tight: the tolerances decide.

    Args:
        bore: inner diameter.
        shafts: one to six outer diameters.
        gap_mm: running gap between any two surfaces [mm], from 0.

    Raises:
        ValueError: the number of shafts or the gap is out of range.
    """
    if fits(bore.low_mm, [shaft.high_mm for shaft in shafts], gap_mm):
        return Fit.FITS
    return Fit.TIGHT if fits(bore.high_mm, [shaft.low_mm for shaft in shafts], gap_mm) else Fit.DOES_NOT_FIT


def pass_together(bore: Measure, shafts: Sequence[Measure], gap_mm: float) -> Judgement:
    """Whether shafts can be in a bore at once: the verdict of `fit_together` in words and numbers.

    Args:
        bore: inner diameter.
        shafts: one to six outer diameters.
        gap_mm: running gap between any two surfaces [mm], from 0.

    Raises:
        ValueError: the number of shafts or the gap is out of range.
    """
    who = " + ".join(shaft.name for shaft in shafts)
    outers = [shaft.size for shaft in shafts if shaft.size]
    if bore.size is None or len(outers) < len(shafts):
        return not_measured("co-passage", f"{who} in {bore.name}", (bore, *shafts))
    fit = fit_together(bore.size, outers, gap_mm)
    nominal = co_passage(bore.size.nominal_mm, [outer.nominal_mm for outer in outers], gap_mm)
    kind = "" if nominal.certified else ", the best known"
    needed = f"{millimetres(nominal.required_bore_mm)}{kind} with gaps of {millimetres(gap_mm)}"
    return judged(
        fit,
        slug="co-passage",
        subject=bore.name,
        claim=f"{who} {'goes' if len(shafts) == 1 else 'go'} through {bore.name}",
        refusal=f"Cannot pass {who} through {bore.name}",
        condition=f"its bore is {bore.size.words}, must be at least {needed}",
        remedy="Choose a wider bore or thinner shafts.",
        numbers={
            "bore_mm": bore.size.nominal_mm,
            "required_bore_mm": nominal.required_bore_mm,
            "spare_mm": nominal.spare_mm,
            "gap_mm": gap_mm,
            "free_area_mm2": nominal.free_area_mm2,
            "free_share": nominal.free_share,
            "hydraulic_diameter_mm": nominal.hydraulic_diameter_mm,
        },
    )


def judged(
    fit: Fit,
    *,
    slug: str,
    subject: str,
    claim: str,
    refusal: str,
    condition: str,
    remedy: str,
    numbers: Mapping[str, float | int | str],
) -> Judgement:
    """One verdict in words: what holds, or what cannot be, with what is and what must be.

    Args:
        fit: fits, tight or does not fit.
        slug: of the rule.
        subject: the thing it is about.
        claim: what holds when it fits ("A go through B").
        refusal: what cannot be when it does not ("Cannot pass A through B").
        condition: what is found and what it must be.
        remedy: what to do when it does not fit.
        numbers: the figures behind it.
    """
    sentence = {
        Fit.FITS: f"{claim}: {condition}.",
        Fit.TIGHT: f"{claim} only if the tolerances allow: {condition}.",
        Fit.DOES_NOT_FIT: f"{refusal}: {condition}.",
    }[fit]
    advice = {Fit.FITS: "", Fit.TIGHT: "Try these very pieces together before use.", Fit.DOES_NOT_FIT: remedy}[fit]
    return Judgement(fit, (Finding(slug, SEVERITIES[fit], subject, sentence, advice, numbers),))


def not_measured(slug: str, question: str, measures: Sequence[Measure], remedy: str = MEASURE_IT) -> Judgement:
    """The verdict when something was never recorded, naming each thing that lacks it.

    Args:
        slug: of the rule.
        question: what was asked ("Telescope in Barrel 7.5").
        measures: everything that the rule needs.
        remedy: what to do about it.
    """
    missing = " and ".join(measure.name for measure in measures if measure.size is None)
    sentence = f"Cannot judge {question}: what it needs of {missing} is not recorded, must be."
    fit = Fit.NOT_MEASURED
    return Judgement(fit, (Finding(slug, SEVERITIES[fit], missing, sentence, remedy),))


def _check(bore_mm: float, shafts_mm: Sequence[float], gap_mm: float) -> None:
    if not 1 <= len(shafts_mm) <= MOST_SHAFTS:
        raise ValueError(f"Cannot judge {len(shafts_mm)} shafts: there must be 1 to {MOST_SHAFTS}.")
    for diameter in (bore_mm, *shafts_mm):
        if not (math.isfinite(diameter) and diameter > 0):
            raise ValueError(f"Cannot judge a diameter of {diameter} mm: it must be finite and above 0.")
    if not (math.isfinite(gap_mm) and gap_mm >= 0):
        raise ValueError(f"Cannot judge with a gap of {gap_mm} mm: it must be finite and from 0.")


def _grown(shafts_mm: Sequence[float], gap_mm: float) -> tuple[float, ...]:
    """Radii of the shafts with half the gap all round [mm]."""
    return tuple((shaft + gap_mm) / 2 for shaft in shafts_mm)
