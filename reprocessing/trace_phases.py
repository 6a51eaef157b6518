"""The phases of a cycle, as its trace shows them: named stretches of time for the picture; no verdict rests on them.

A steam cycle is parted at its plateau and at its pressure; a wash at its temperature alone, which does not tell a
wash from a rinse. What a trace does not show has no phase. The rules and their figures: docs/algorithms/phases.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from reprocessing.lethality import A0_LAW
from reprocessing.plateau import Interval, longest_within
from reprocessing.trace import Trace
from reprocessing.trace_csv import MBAR_PER_BAR, FloatArray
from reprocessing.vacuum import PULSE_RISE_MBAR

# All of these are common practice, no source.
VACUUM_MBAR = 500.0  # below this the chamber is under vacuum
OPEN_MBAR = 1100.0  # at this or less the steam is let off
WARM_C = 40.0  # warm water, of a wash or a rinse, up to where A0 counts


@dataclass(frozen=True, slots=True)
class Phase:
    """A phase of a cycle.

    Args:
        name: what it is called.
        during: its time, in the seconds of the trace.
    """

    name: str
    during: Interval


@dataclass(frozen=True, slots=True)
class Phases:
    """What a trace shows of the course of a cycle.

    Args:
        phases: in order of time.
        pulses_s: when each evacuation before the plateau was deepest, in the seconds of the trace.
    """

    phases: tuple[Phase, ...] = ()
    pulses_s: tuple[float, ...] = ()


def steam_phases(trace: Trace, *, set_c: float) -> Phases:
    """The phases of a steam cycle: air removal, heat-up, exposure, exhaust, drying.

    Args:
        trace: the cleaned trace.
        set_c: sterilising temperature of the programme [°C].

    Returns:
        The phases; none when not every probe reached the temperature. Of several gauges the first counts.
    """
    reached = longest_within(trace, set_c, inf)
    if reached is None:
        return Phases()
    start_s, end_s = float(trace.times_s[0]), float(trace.times_s[-1])
    gauge = next(trace.pressure_readings(), None)
    if gauge is None:
        return Phases(_kept(("Heat-up", start_s, reached.start_s), ("Exposure", reached.start_s, reached.end_s)))
    times, mbar = gauge[0], gauge[1] * MBAR_PER_BAR
    pulses = _lows(times, mbar, until_s=reached.start_s)
    removed_s = pulses[-1] if pulses else start_s
    vacuum = times[(times > reached.end_s) & (mbar <= VACUUM_MBAR)]
    let_off = times[(times > reached.end_s) & (mbar <= OPEN_MBAR)]
    exhausted_s = float((vacuum if vacuum.size else let_off if let_off.size else [end_s])[0])
    return Phases(
        _kept(
            ("Air removal", start_s, removed_s),
            ("Heat-up", removed_s, reached.start_s),
            ("Exposure", reached.start_s, reached.end_s),
            ("Exhaust", reached.end_s, exhausted_s),
            ("Drying", exhausted_s, float(vacuum[-1]) if vacuum.size else exhausted_s),
        ),
        pulses,
    )


def wash_phases(trace: Trace, *, hold_c: float | None) -> Phases:
    """The phases of a wash that its temperature tells: warm water, heat-up, thermal disinfection, cooling.

    Args:
        trace: the cleaned trace.
        hold_c: least temperature of the disinfection [°C]; None takes the one at which A0 is defined.

    Returns:
        The phases; none when not every probe reached that temperature.
    """
    reached = longest_within(trace, A0_LAW.reference_c if hold_c is None else hold_c, inf)
    if reached is None:
        return Phases()
    warm = longest_within(trace, WARM_C, A0_LAW.counts_from_c)
    heated_s = float(trace.times_s[0])
    before: list[tuple[str, float, float]] = []
    if warm is not None and warm.end_s <= reached.start_s:
        before.append(("Warm water", warm.start_s, warm.end_s))
        heated_s = warm.end_s
    return Phases(
        _kept(
            *before,
            ("Heat-up", heated_s, reached.start_s),
            ("Thermal disinfection", reached.start_s, reached.end_s),
            ("Cooling and drying", reached.end_s, float(trace.times_s[-1])),
        )
    )


def _kept(*stretches: tuple[str, float, float]) -> tuple[Phase, ...]:
    """Those that last at all."""
    return tuple(Phase(name, Interval(start, end)) for name, start, end in stretches if end > start)


def _lows(times: FloatArray, mbar: FloatArray, *, until_s: float) -> tuple[float, ...]:
    """When the pressure was lowest before each rise by a pulse's worth, of those under vacuum."""
    lows: list[float] = []
    at, lowest, rising = 0.0, inf, False
    for time, pressure in zip(times[times <= until_s].tolist(), mbar.tolist(), strict=False):
        if pressure < lowest:
            at, lowest, rising = time, pressure, False
        elif not rising and lowest <= VACUUM_MBAR and pressure >= lowest + PULSE_RISE_MBAR:
            lows.append(at)
            lowest, rising = pressure, True
        elif rising:
            lowest = max(lowest, pressure)
    return tuple(lows)
