"""Lethality of heat: A0 of thermal disinfection and F0 of steam, integrated from a temperature record.

The temperature is taken as piecewise linear between its samples, and the integral of that line is exact:
a segment of duration dt between the rates L1 and L2 contributes dt times their logarithmic mean. Beside it
stands the floor: the same integral with the lower rate of each segment, which no course of the temperature
that rises or falls steadily between its samples can undercut.

Neither figure is a ground for release. A0 speaks for thermal disinfection, not for cleaning; F0 says nothing
of whether the heat was that of saturated steam.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, log

import numpy as np
from numpy.typing import ArrayLike

from reprocessing.trace import Trace, is_gap, median_step_s
from reprocessing.trace_csv import FloatArray

SECONDS_PER_MINUTE = 60.0
AT_A_TIME = 32_768  # segments integrated at once: few enough that all that is computed stays in the cache


@dataclass(frozen=True, slots=True)
class RateLaw:
    """How fast heat acts: one second at `reference_c` counts as one second, `z_k` more counts tenfold.

    Args:
        reference_c: temperature of rate 1 [°C].
        z_k: rise of temperature that multiplies the rate by ten [K].
        counts_from_c: below this temperature nothing counts [°C]; minus infinity when all counts.

    Raises:
        ValueError: z_k is not positive.
    """

    reference_c: float
    z_k: float
    counts_from_c: float = -inf

    def __post_init__(self) -> None:
        if not self.z_k > 0:
            raise ValueError(f"Cannot use a z value of {self.z_k} K: it must be above 0 K.")


# ISO 15883-1, definition of A0 and its informative annex: equivalent seconds at 80 °C, z = 10 K, only
# temperatures from 65 °C up are counted.
A0_LAW = RateLaw(reference_c=80.0, z_k=10.0, counts_from_c=65.0)

# Equivalent minutes of moist heat, z = 10 K. Texts give the base as 121.0, 121.1 or 121.11 °C (250 °F), which
# differ by 2.5 %: 121.1 °C is the one used here, and every record of F0 names it.
F0_LAW = RateLaw(reference_c=121.1, z_k=10.0)


@dataclass(frozen=True, slots=True)
class Lethality:
    """A0 and F0 of one record, with their floors and the sampling behind them.

    Args:
        a0_s: equivalent seconds at 80 °C.
        f0_min: equivalent minutes at 121.1 °C.
        floor_a0_s: the same with the lower rate of each segment.
        floor_f0_min: the same with the lower rate of each segment.
        coarsest_step_s: longest step that was integrated [s]; None when there was none.
        median_step_s: median step, gaps included [s]; of several probes the longest; None when there was none.
    """

    a0_s: float
    f0_min: float
    floor_a0_s: float
    floor_f0_min: float
    coarsest_step_s: float | None
    median_step_s: float | None


def equivalent_s(times_s: FloatArray, temperatures_c: FloatArray, law: RateLaw) -> tuple[float, float]:
    """Equivalent time at the law's reference temperature, and its floor.

    A segment that crosses the temperature from which the law counts is clipped at the crossing; its floor is
    then that temperature's rate. Ignores everything but time and temperature.

    Args:
        times_s: (n,) strictly increasing [s].
        temperatures_c: (n,) [°C].
        law: reference, z value and lower limit.

    Returns:
        The exact integral over the piecewise-linear temperature and its floor, both [s].

    Source: definition of A0, ISO 15883-1; logarithmic mean by integrating exp of a linear function.
    """
    return _integrate(np.diff(times_s), temperatures_c[:-1], temperatures_c[1:], law)


def of_samples(times_s: ArrayLike, temperatures_c: ArrayLike) -> Lethality:
    """Lethality of samples integrated as given, with no cleaning and no rule for gaps.

    Args:
        times_s: (n,) strictly increasing, n at least 2 [s].
        temperatures_c: (n,) finite [°C].

    Returns:
        The lethality.

    Raises:
        ValueError: shapes differ, fewer than two samples, a time that does not increase, a value that is
            not finite, or temperatures so high that the integral is no number.
    """
    times = np.asarray(times_s, dtype=np.float64)
    temperatures = np.asarray(temperatures_c, dtype=np.float64)
    steps = _checked_steps(times, temperatures)
    lethality = _lethality(steps, temperatures[:-1], temperatures[1:], median_step_s(steps))
    if not (isfinite(lethality.a0_s) and isfinite(lethality.f0_min)):
        raise ValueError("Cannot integrate the samples: their temperatures are beyond any number.")
    return lethality


def of_trace(trace: Trace) -> Lethality:
    """Lethality of a cleaned trace: the least that any of its probes shows.

    Each probe is integrated over its own readings; a step that is a gap earns nothing. Each figure is the
    least over the probes, so A0 and F0 may come from different ones. A trace without a healthy probe earns
    nothing.

    Args:
        trace: a cleaned trace.

    Returns:
        The lethality.
    """
    probes = []
    for times, readings in trace.probe_readings():
        steps = np.diff(times)
        kept = ~is_gap(steps)
        probes.append(_lethality(steps[kept], readings[:-1][kept], readings[1:][kept], median_step_s(steps)))
    coarsest = [probe.coarsest_step_s for probe in probes if probe.coarsest_step_s is not None]
    medians = [probe.median_step_s for probe in probes if probe.median_step_s is not None]
    return Lethality(
        a0_s=min((probe.a0_s for probe in probes), default=0.0),
        f0_min=min((probe.f0_min for probe in probes), default=0.0),
        floor_a0_s=min((probe.floor_a0_s for probe in probes), default=0.0),
        floor_f0_min=min((probe.floor_f0_min for probe in probes), default=0.0),
        coarsest_step_s=max(coarsest, default=None),
        median_step_s=max(medians, default=None),
    )


def _lethality(steps_s: FloatArray, starts_c: FloatArray, ends_c: FloatArray, median_s: float | None) -> Lethality:
    a0_s, floor_a0_s = _integrate(steps_s, starts_c, ends_c, A0_LAW)
    f0_s, floor_f0_s = _integrate(steps_s, starts_c, ends_c, F0_LAW)
    return Lethality(
        a0_s=a0_s,
        f0_min=f0_s / SECONDS_PER_MINUTE,
        floor_a0_s=floor_a0_s,
        floor_f0_min=floor_f0_s / SECONDS_PER_MINUTE,
        coarsest_step_s=float(steps_s.max()) if steps_s.size else None,
        median_step_s=median_s,
    )


def _integrate(steps_s: FloatArray, starts_c: FloatArray, ends_c: FloatArray, law: RateLaw) -> tuple[float, float]:
    parts = [
        _integrate_part(steps_s[at : at + AT_A_TIME], starts_c[at : at + AT_A_TIME], ends_c[at : at + AT_A_TIME], law)
        for at in range(0, steps_s.size, AT_A_TIME)
    ]
    return sum((exact_s for exact_s, _ in parts), 0.0), sum((floor_s for _, floor_s in parts), 0.0)


def _integrate_part(
    steps_s: FloatArray, starts_c: FloatArray, ends_c: FloatArray, law: RateLaw
) -> tuple[float, float]:
    lower = np.minimum(starts_c, ends_c)
    upper = np.maximum(starts_c, ends_c)
    if law.counts_from_c > -inf:
        steps_s, lower, upper = _clip(steps_s, lower, upper, law.counts_from_c)
    per_kelvin = log(10) / law.z_k
    with np.errstate(over="ignore", invalid="ignore"):
        floors = steps_s * np.exp(per_kelvin * (lower - law.reference_c))
        rise = per_kelvin * (upper - lower)
        # Logarithmic mean over lower rate; expm1(x)/x tends to 1 and stays exact however small x is.
        gain = np.divide(np.expm1(rise), rise, out=np.ones_like(rise), where=rise > 0)
        return float(np.sum(floors * gain)), float(np.sum(floors))


def _clip(
    steps_s: FloatArray, lower: FloatArray, upper: FloatArray, from_c: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Only the part of each segment that lies at `from_c` or above."""
    counts = upper >= from_c
    steps_s, lower, upper = steps_s[counts], lower[counts], upper[counts]
    crossing = lower < from_c
    share = (upper[crossing] - from_c) / (upper[crossing] - lower[crossing])
    steps_s[crossing] *= share
    lower[crossing] = from_c
    return steps_s, lower, upper


def _checked_steps(times: FloatArray, temperatures: FloatArray) -> FloatArray:
    """Steps between the times of samples that can be integrated."""
    if times.ndim != 1 or times.shape != temperatures.shape:
        raise ValueError("Cannot integrate the samples: each must be one time and one temperature.")
    if times.size < 2:
        raise ValueError(f"Cannot integrate the samples: there are {times.size}, must be at least 2.")
    for name, values in (("time", times), ("temperature", temperatures)):
        wrong = np.flatnonzero(~np.isfinite(values))
        if wrong.size:
            raise ValueError(f"Cannot integrate sample {wrong[0]}: its {name} must be a finite number.")
    steps = np.diff(times)
    late = np.flatnonzero(steps <= 0)
    if late.size:
        at = int(late[0]) + 1
        raise ValueError(
            f"Cannot integrate sample {at}: its time is {times[at]:g} s, "
            f"must be after the {times[at - 1]:g} s of the sample before."
        )
    return steps
