"""What stands below the picture of a trace: its phases by name, and how far the steam is from saturated.

The upper strip parts the time into numbered phases, with their lengths in words. The lower panel draws measured less
theoretical temperature, by the pressure (IAPWS-IF97, region 4), from the last evacuation to the end of the exposure;
where every probe had reached the set temperature and the difference is beyond the limit, it says what to suspect.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reprocessing.judging import duration_words
from reprocessing.limits import SteamLimits
from reprocessing.plateau import Interval
from reprocessing.steam import PRESSURE_RANGE_BAR_ABS, saturation_temperature_c
from reprocessing.trace import SAME_K, Trace
from reprocessing.trace_csv import FloatArray
from reprocessing.trace_phases import Phases, steam_phases, wash_phases
from reprocessing.trace_picture import (
    BOTTOM,
    FONT_SIZE,
    HEIGHT,
    LEFT,
    RIGHT,
    TICK,
    TOP,
    Axis,
    Limits,
    figure_of,
    line_at,
    minutes_of,
    path_of,
    text_at,
    time_axis,
    trace_svg,
)

STRIP_TOP, STRIP_HEIGHT = HEIGHT + 4.0, 24.0
NAMES_TOP = STRIP_TOP + STRIP_HEIGHT
NAMES_IN_A_ROW, NAME_ROW = 3, 22.0
PANEL_GAP, PANEL_HEIGHT = 34.0, 110.0
NARROW = 14.0  # a phase that is narrower shows no number
CLIPPED_LIMITS = 3.0  # the panel ends at so many times the limit


def cycle_svg(trace: Trace, limits: Limits, *, title: str, describe: str) -> str:
    """Draw a cycle: its trace, its phases, and of steam its difference from saturation.

    Args:
        trace: the cleaned trace.
        limits: the programme's.
        title: name of the picture.
        describe: the finding in words; the phases are added to it.

    Returns:
        The text of one `<svg>` element; without phases that of the trace alone.
    """
    found = phases_of(trace, limits)
    if not found.phases:
        return trace_svg(trace, limits, title=title, describe=describe)
    time = time_axis(trace)
    bottom = NAMES_TOP + NAME_ROW * -(-len(found.phases) // NAMES_IN_A_ROW) + 8.0
    below = list(_strip(trace, found, time))
    if isinstance(limits, SteamLimits) and trace.gauges:
        below += _difference(trace, found, limits, time, bottom + PANEL_GAP)
        bottom += PANEL_GAP + PANEL_HEIGHT + 12.0
    said = f"{describe} Phases: {', '.join(_named(found))}."
    if isinstance(limits, SteamLimits):
        said += f" Evacuations: {len(found.pulses_s)}."
    return trace_svg(trace, limits, title=title, describe=said, below=below, height=bottom)


def phases_of(trace: Trace, limits: Limits) -> Phases:
    """What a trace shows of the course of a cycle, by its programme's limits."""
    if isinstance(limits, SteamLimits):
        return steam_phases(trace, set_c=limits.set_c)
    return wash_phases(trace, hold_c=limits.hold_c)


def _named(found: Phases) -> list[str]:
    return [f"{phase.name} {duration_words(phase.during.length_s)}" for phase in found.phases]


def _x(trace: Trace, time: Axis, at_s: float) -> float:
    return time.at(minutes_of(at_s - float(trace.times_s[0])))


def _strip(trace: Trace, found: Phases, time: Axis) -> Iterator[str]:
    """The phases as numbered boxes, their ends in the plot, and their names with their lengths."""
    for number, phase in enumerate(found.phases, start=1):
        start, end = (_x(trace, time, at) for at in (phase.during.start_s, phase.during.end_s))
        path = f"M{start:.1f} {STRIP_TOP:g}H{end:.1f}v{STRIP_HEIGHT:g}H{start:.1f}z"
        opacity = 0.06 if number % 2 else 0.16
        look = f'fill="currentColor" fill-opacity="{opacity}" stroke="currentColor"'
        yield f'<path class="trace-phase" d="{path}" {look}/>'
        if end - start >= NARROW:
            yield text_at((start + end) / 2, STRIP_TOP + STRIP_HEIGHT / 2 + FONT_SIZE / 3, str(number), "middle")
        yield line_at(
            start, TOP, start, BOTTOM, ' class="trace-phase-end" stroke-opacity="0.5" stroke-dasharray="1 4"'
        )
    for at in found.pulses_s:
        yield line_at(
            _x(trace, time, at), BOTTOM - 8, _x(trace, time, at), BOTTOM, ' class="trace-pulse" stroke-width="2"'
        )
    width = (RIGHT - LEFT) / NAMES_IN_A_ROW
    for at, words in enumerate(_named(found)):
        row, column = divmod(at, NAMES_IN_A_ROW)
        yield text_at(LEFT + column * width, NAMES_TOP + NAME_ROW * (row + 1), f"{at + 1} {words}")


def _saturated_c(trace: Trace) -> FloatArray:
    """(n,) temperature that the first gauge's pressure implies [°C]; NaN where it implies none."""
    bar = trace.pressures_bar_abs[:, 0]
    low, high = PRESSURE_RANGE_BAR_ABS
    inside = (bar >= low) & (bar <= high)
    found = np.full(bar.shape, np.nan)
    found[inside] = saturation_temperature_c(bar[inside])
    return found


def difference_k(trace: Trace) -> FloatArray:
    """(n,) measured less theoretical temperature, of the probe that is farthest from it [K]; NaN where unknown."""
    apart = trace.temperatures_c - _saturated_c(trace)[:, None]
    farthest = np.argmax(np.where(np.isnan(apart), -1.0, np.abs(apart)), axis=1)
    return np.asarray(np.take_along_axis(apart, farthest[:, None], axis=1)[:, 0])


def _difference(trace: Trace, found: Phases, limits: SteamLimits, time: Axis, top: float) -> Iterator[str]:
    """The panel of differences, its limits, and what to suspect where they are passed on the plateau."""
    most = limits.saturation_k * CLIPPED_LIMITS
    axis = Axis(-most, most, top + PANEL_HEIGHT, top)
    yield text_at(
        LEFT, top - 10, f"Measured less saturated steam at that pressure (K), at most {limits.saturation_k:g}"
    )
    for value in (-most, -limits.saturation_k, 0.0, limits.saturation_k, most):
        y = axis.at(value)
        dashed = ' stroke-dasharray="6 4"' if abs(value) == limits.saturation_k else ' stroke-opacity="0.3"'
        yield line_at(LEFT, y, RIGHT, y, f' class="trace-difference-limit"{dashed}')
        yield text_at(LEFT - TICK - 4, y + FONT_SIZE / 3, figure_of(value), "end")
    difference = difference_k(trace)
    exposure = next(phase.during for phase in found.phases if phase.name == "Exposure")
    begins = next((phase.during.start_s for phase in found.phases if phase.name == "Heat-up"), exposure.start_s)
    shown = (trace.times_s >= begins) & (trace.times_s <= exposure.end_s) & ~np.isnan(difference)
    seconds = trace.times_s[shown] - trace.times_s[0]
    path = path_of(seconds, np.clip(difference[shown], -most, most), time, axis)
    yield f'<path class="trace-difference" d="{path}" fill="none" stroke="currentColor" stroke-width="2"/>'
    yield from _suspected(trace, difference, exposure, limits, time, axis)


def _suspected(
    trace: Trace, difference: FloatArray, exposure: Interval, limits: SteamLimits, time: Axis, axis: Axis
) -> Iterator[str]:
    """Superheat or air, marked by a bar and in words over the time in which it shows on the plateau."""
    on_plateau = (trace.times_s >= exposure.start_s) & (trace.times_s <= exposure.end_s)
    for words, beyond, y in (
        ("superheat suspected", difference > limits.saturation_k + SAME_K, axis.end),
        ("air suspected", difference < -limits.saturation_k - SAME_K, axis.start),
    ):
        times = trace.times_s[on_plateau & beyond]
        if times.size:
            start, end = (_x(trace, time, float(at)) for at in (times[0], times[-1]))
            yield line_at(start, y, max(end, start + 2), y, ' class="trace-suspected" stroke-width="5"')
            beside = (start - 8, "end") if start > (LEFT + RIGHT) / 2 else (end + 8, "start")
            yield text_at(beside[0], y + (FONT_SIZE if y == axis.end else -6), words, beside[1])
