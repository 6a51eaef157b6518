"""The formulas that the validation report computes, each by calling the code that the pages call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import ModuleType

import numpy as np

from instruments import airflow, gauge, gs1, hibc, iccbba, identity, packing, reorder
from instruments.carriers import Decoded
from journal import merkle
from reprocessing import control_chart, leakage, lethality, recall, steam
from reprocessing.trace import Trace

SECONDS = 60.0
MPA_IN_BAR = 10.0
ACCEPTED = "accepted"
WRONG_CHECK = "wrong check character"
WRONG_CHECKS = {"check-character-failure", "check-digit-failure"}
SIGNS = {"-": recall.Biology.NEGATIVE, "+": recall.Biology.POSITIVE, ".": recall.Biology.NONE}


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula.

    Args:
        what: what it computes, in words.
        module: where the product computes it.
        run: takes a value's input by name.
    """

    what: str
    module: ModuleType
    run: Callable[..., float | str]

    @property
    def where(self) -> str:
        """Dotted name of the module."""
        return self.module.__name__


def a0_hold(*, celsius: float, seconds: float) -> float:
    """A0 [s] of a hold at one temperature."""
    return lethality.of_samples([0.0, seconds], [celsius, celsius]).a0_s


def a0_ramp(*, from_c: float, to_c: float, k_per_min: float) -> float:
    """A0 [s] of an even rise of temperature."""
    return lethality.of_samples([0.0, (to_c - from_c) / k_per_min * SECONDS], [from_c, to_c]).a0_s


def f0_hold(*, celsius: float, minutes: float, reference_c: float = lethality.F0_LAW.reference_c) -> float:
    """F0 [min] of a hold at one temperature."""
    law = lethality.RateLaw(reference_c=reference_c, z_k=lethality.F0_LAW.z_k)
    found_s, _ = lethality.equivalent_s(np.array([0.0, minutes * SECONDS]), np.array([celsius, celsius]), law)
    return found_s / SECONDS


def f0_ramp(*, from_c: float, to_c: float, k_per_min: float) -> float:
    """F0 [min] of an even rise of temperature."""
    return lethality.of_samples([0.0, (to_c - from_c) / k_per_min * SECONDS], [from_c, to_c]).f0_min


def saturation_k(*, mpa: float) -> float:
    """Saturation temperature [K] of steam of this absolute pressure."""
    return float(steam.saturation_temperature_c(mpa * MPA_IN_BAR)) + steam.ZERO_CELSIUS_K


def saturation_mpa(*, kelvin: float) -> float:
    """Absolute pressure [MPa] of saturated steam of this temperature."""
    return float(steam.saturation_pressure_bar_abs(kelvin - steam.ZERO_CELSIUS_K)) / MPA_IN_BAR


def _chamber(rise_mbar: float, *, start_mbar: float = 60.0) -> Trace:
    """An evacuated chamber that is shut off, settles without a rise for 300 s, then rises evenly over 600 s."""
    times = np.array([0.0, 100.0, *np.arange(105.0, 1005.0, 5.0)])
    risen = np.clip((times - 400.0) / 600.0, 0.0, 1.0) * rise_mbar
    mbar = np.where(times < 100.0, 1000.0, start_mbar + risen)
    return Trace(times, np.full((len(times), 1), 40.0), ("probe",), mbar[:, None] / 1000.0, ("chamber",))


def leak_rate(*, rise_mbar: float) -> float | str:
    """Leak rate [mbar/min] when the pressure rises so much in the 10 min after settling."""
    found = leakage.judge_leak(_chamber(rise_mbar), hold_from_s=100.0).numbers["leak_rate_mbar_min"]
    return "not measured" if found is None else float(found)


def leak_verdict(*, mbar_min: float) -> str:
    """Whether a leak rate is within the usual limit."""
    judged = leakage.judge_leak(_chamber(mbar_min * 10.0), hold_from_s=100.0)
    return "within" if judged.within_limits else "not within"


def enclosing(*, radii: Sequence[float]) -> float:
    """Radius of the smallest circle that holds discs side by side."""
    return packing.smallest_enclosing(radii).radius


def gs1_digit(*, number: str) -> str:
    """The one check digit with which a number is taken as a GS1 mark."""
    marks = {digit: gs1.read(f"{number}{digit}") for digit in "0123456789"}
    taken = [digit for digit, mark in marks.items() if mark and mark.identifiers and not _wrong_check(mark)]
    return " or ".join(taken) or "none"


def gs1_field(*, text: str, name: str) -> str:
    """A field of a GS1 mark."""
    mark = gs1.read(text, flagged=True)
    return mark.identifiers.get(name, "none") if mark else "none"


def hibc_field(*, text: str, name: str) -> str:
    """A field of a HIBC mark, or what is wrong with it."""
    mark = hibc.read(text)
    return mark.identifiers.get(name) or next((found.slug for found in mark.findings), "none")


def hibc_verdict(*, text: str) -> str:
    """Whether the check character of a HIBC mark is the right one."""
    return WRONG_CHECK if _wrong_check(hibc.read(text)) else ACCEPTED


def _wrong_check(mark: Decoded) -> bool:
    return any(found.slug in WRONG_CHECKS for found in mark.findings)


def iccbba_field(*, text: str, name: str) -> str:
    """A field of an ISBT 128 mark."""
    return iccbba.read(text).identifiers.get(name, "none")


def merkle_root(*, records: Sequence[str]) -> str:
    """Root over records, each as hexadecimal bytes."""
    return merkle.root_of(merkle.leaf_hash(bytes.fromhex(record)) for record in records).hex()


def merkle_inclusion(*, records: Sequence[str], position: int) -> str:
    """Hashes that lead from one record to the root."""
    leaves = [merkle.leaf_hash(bytes.fromhex(record)) for record in records]
    return " ".join(step.hex() for step in merkle.inclusion_proof(leaves, position))


def merkle_growth(*, records: Sequence[str], older: int) -> str:
    """Hashes which show that a tree only grew."""
    leaves = [merkle.leaf_hash(bytes.fromhex(record)) for record in records]
    return " ".join(step.hex() for step in merkle.consistency_proof(leaves, older))


def recalled(
    *, indicators: str, every_positive: bool, steam_machine: bool = True, implants: Sequence[int] = ()
) -> str:
    """Cycles that the biological indicators of a machine call back, by number from 1."""
    policy = recall.policy_for(steam=steam_machine, every_positive=every_positive)
    cycles = [
        recall.Cycle(number, str(number), SIGNS[sign], number in implants)
        for number, sign in enumerate(indicators.split(), start=1)
    ]
    return " ".join(row.load for row in recall.scope_of(cycles, policy).called) or "none"


def p_chart(*, counts: Sequence[int], of: int, what: str) -> float | str:
    """The mean of samples of one size, a limit of the first, or the samples outside, by number from 1."""
    samples = [control_chart.Sample(str(number), count, of) for number, count in enumerate(counts, start=1)]
    chart = control_chart.p_chart(samples)
    if chart is None:
        return "none"
    said = {"mean": chart.mean, "lower limit": chart.points[0].low, "upper limit": chart.points[0].high}
    return said[what] if what in said else " ".join(point.sample.label for point in chart.outside)


FORMULAS: dict[str, Formula] = {
    "a0-hold": Formula("A0 of a hold at one temperature", lethality, a0_hold),
    "a0-ramp": Formula("A0 of an even rise of temperature", lethality, a0_ramp),
    "f0-hold": Formula("F0 of a hold at one temperature", lethality, f0_hold),
    "f0-ramp": Formula("F0 of an even rise of temperature", lethality, f0_ramp),
    "saturation-temperature": Formula("Temperature of saturated steam", steam, saturation_k),
    "saturation-pressure": Formula("Pressure of saturated steam", steam, saturation_mpa),
    "leak-rate": Formula("Leak rate of a chamber", leakage, leak_rate),
    "leak-verdict": Formula("Leak rate against its limit", leakage, leak_verdict),
    "enclosing-circle": Formula("Smallest circle round shafts side by side", packing, enclosing),
    "annulus-friction": Formula("Friction of laminar flow in an annulus, Darcy f·Re", airflow, airflow.annulus_f_re),
    "hydraulic-diameter": Formula(
        "Hydraulic diameter of a bore with shafts in it",
        airflow,
        airflow.hydraulic_diameter_mm,
    ),
    "pressure-ratio": Formula(
        "Pressure drop with a shaft in the bore over that without",
        airflow,
        airflow.pressure_drop_ratio,
    ),
    "french": Formula("Outer diameter of a French gauge", gauge, gauge.diameter_mm),
    "gs1-check-digit": Formula("Check digit of a GS1 number", gs1, gs1_digit),
    "gs1-field": Formula("Field of a GS1 mark", gs1, gs1_field),
    "hibc-check": Formula("Check character of a HIBC mark", hibc, hibc.check_character),
    "hibc-pair": Formula("Check pair of a device family's number", hibc, hibc.check_pair),
    "hibc-field": Formula("Field of a HIBC mark", hibc, hibc_field),
    "hibc-verdict": Formula("Whether the check character of a HIBC mark is right", hibc, hibc_verdict),
    "iccbba-field": Formula("Field of an ISBT 128 mark", iccbba, iccbba_field),
    "own-check": Formula("Check character of our own codes, MOD 37,36", identity, identity.check_character),
    "merkle-root": Formula("Root of the sealed trail's tree", merkle, merkle_root),
    "merkle-inclusion": Formula("Proof that a record stands in the trail", merkle, merkle_inclusion),
    "merkle-growth": Formula("Proof that the trail only grew", merkle, merkle_growth),
    "recall": Formula("Cycles that a positive biological indicator calls back", recall, recalled),
    "p-chart": Formula("Control limits of a share", control_chart, p_chart),
    "least-stock": Formula("Stock that lasts through a Poisson demand", reorder, reorder.least_stock),
}
