"""The picture of a trace as SVG: pressure solid, temperature dashed, the programme's band hatched.

One string for page and paper. It carries no style of its own beyond presentation attributes and takes its
colour from the text around it; nothing in it is said by colour. A long record is thinned to the least and
the greatest reading of each sliver of time, so that no peak is lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from math import ceil, floor, inf, log10

import numpy as np

from reprocessing.judging import MINUS, duration_words
from reprocessing.lethality import A0_LAW, SECONDS_PER_MINUTE
from reprocessing.limits import SteamLimits, WashLimits
from reprocessing.plateau import longest_within
from reprocessing.trace import Trace, is_gap
from reprocessing.trace_csv import FloatArray

Limits = SteamLimits | WashLimits

NAMESPACE = 'xmlns="http://www.w3.org/2000/svg"'

# The picture's units are CSS pixels at its natural size.
WIDTH, HEIGHT = 920.0, 440.0
LEFT, RIGHT, TOP, BOTTOM = 76.0, 836.0, 64.0, 376.0  # the plot within it
FONT = "Atkinson Hyperlegible Next, DejaVu Sans, sans-serif"
FONT_SIZE = 16
TICKS = 6  # wanted on an axis
TICK = 6.0
SLIVERS = 450  # about one for two pixels
HATCH_STEP = 9.0
LEGEND_LINE = 44.0
HOLD_MARGIN = 70.0  # half of the words over the hold, kept clear of the units beside them
DASHES = ("7 4", "2 3", "10 3 2 3", "14 4", "5 2 1 2")  # one for each probe, then from the start again
NO_TEMPERATURE_C = (0.0, 100.0)  # axis of a record without a healthy reading


@dataclass(frozen=True, slots=True)
class Axis:
    """Where values lie between two ends of the picture, in its units."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value lies."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self) -> list[float]:
        """Round values for its figures."""
        step = _nice_step((self.high - self.low) / TICKS)
        first = ceil(self.low / step - 1e-9)
        return [count * step for count in range(first, floor(self.high / step + 1e-9) + 1)]


def trace_svg(
    trace: Trace,
    limits: Limits | None,
    *,
    title: str,
    describe: str,
    below: Iterable[str] = (),
    height: float = HEIGHT,
) -> str:
    """Draw a trace.

    Args:
        trace: the cleaned trace.
        limits: the programme's; None draws neither band nor hold.
        title: name of the picture, for its reader and for whoever hears it read.
        describe: the finding in words ("held 134.6 to 134.8 °C for 3min 32s").
        below: further elements, for the room below the plot.
        height: of the whole picture.

    Returns:
        The text of one `<svg>` element, without width and height: it fills what it stands in.
    """
    time = time_axis(trace)
    temperature = _temperature_axis(trace, limits)
    pressure = _pressure_axis(trace)
    look = f'fill="currentColor" stroke="none" font-family="{FONT}" font-size="{FONT_SIZE}"'
    parts = [
        f'<svg {NAMESPACE} role="img" class="trace-picture" viewBox="0 0 {WIDTH:g} {height:g}" {look}>',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(describe)}</desc>",
        *_frame(time, temperature, pressure),
        *_demands(trace, limits, time, temperature),
        *_gaps(trace, time),
        *_curves(trace, time, temperature, pressure),
        *_legend(trace),
        *below,
        "</svg>",
    ]
    return "\n".join(parts)


def _nice_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below `least`."""
    power = 10.0 ** floor(log10(least))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9))


def minutes_of(seconds: float) -> float:
    """Seconds as the minutes of the axis."""
    return seconds / SECONDS_PER_MINUTE


def time_axis(trace: Trace) -> Axis:
    """Minutes from the first reading to the last."""
    length = minutes_of(trace.times_s[-1] - trace.times_s[0]) if trace.times_s.size > 1 else 0.0
    return Axis(0.0, length or 1.0, LEFT, RIGHT)


def _temperature_axis(trace: Trace, limits: Limits | None) -> Axis:
    low, high = NO_TEMPERATURE_C
    if trace.has_readings:
        low, high = float(np.nanmin(trace.temperatures_c)), float(np.nanmax(trace.temperatures_c))
    if isinstance(limits, SteamLimits):
        high = max(high, limits.set_c + limits.band_k)
    if isinstance(limits, WashLimits):
        high = max(high, limits.hold_c or A0_LAW.reference_c)
    step = _nice_step(max(high - low, 1.0) / TICKS)
    return Axis(floor(low / step) * step, (floor(high / step) + 1) * step, BOTTOM, TOP)


def _pressure_axis(trace: Trace) -> Axis | None:
    if not trace.gauges or bool(np.all(np.isnan(trace.pressures_bar_abs))):
        return None
    high = max(float(np.nanmax(trace.pressures_bar_abs)), 1.0)
    step = _nice_step(high / TICKS)
    return Axis(0.0, (floor(high / step) + 1) * step, BOTTOM, TOP)


def text_at(x: float, y: float, words: str, anchor: str = "start") -> str:
    """Words in the picture."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def line_at(x1: float, y1: float, x2: float, y2: float, more: str = "") -> str:
    """A straight line."""
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" fill="none" stroke="currentColor"{more}/>'


def figure_of(value: float) -> str:
    """A figure of an axis."""
    return f"{value:.6g}".replace("-", MINUS)


def _frame(time: Axis, temperature: Axis, pressure: Axis | None) -> Iterator[str]:
    """Axes with their ticks, figures and units."""
    below = BOTTOM + FONT_SIZE + TICK + 2
    for value in time.ticks():
        yield line_at(time.at(value), BOTTOM, time.at(value), BOTTOM + TICK)
        yield text_at(time.at(value), below, figure_of(value), "middle")
    yield text_at((LEFT + RIGHT) / 2, below + FONT_SIZE + 8, "Time from the first reading (min)", "middle")
    for value in temperature.ticks():
        y = temperature.at(value)
        yield line_at(LEFT, y, RIGHT, y, ' stroke-opacity="0.2"')
        yield text_at(LEFT - TICK - 4, y + FONT_SIZE / 3, figure_of(value), "end")
    yield text_at(LEFT - TICK - 4, TOP - 14, "°C", "end")
    if pressure is not None:
        for value in pressure.ticks():
            y = pressure.at(value)
            yield line_at(RIGHT, y, RIGHT + TICK, y)
            yield text_at(RIGHT + TICK + 4, y + FONT_SIZE / 3, figure_of(value))
        yield text_at(RIGHT + TICK + 4, TOP - 14, "bar abs")
        yield line_at(RIGHT, TOP, RIGHT, BOTTOM)
    yield line_at(LEFT, TOP, LEFT, BOTTOM)
    yield line_at(LEFT, BOTTOM, RIGHT, BOTTOM)


def _demands(trace: Trace, limits: Limits | None, time: Axis, temperature: Axis) -> Iterator[str]:
    """The band, hatched, and the hold in it; of a wash the temperatures that count."""
    if isinstance(limits, SteamLimits):
        low, high = limits.set_c, limits.set_c + limits.band_k
        yield from _hatched(temperature.at(high), temperature.at(low))
        yield text_at(LEFT + 6, temperature.at(low) + FONT_SIZE + 2, f"band {low:g} to {high:g} °C")
        yield from _hold(trace, low, high, time)
    if isinstance(limits, WashLimits):
        yield from _threshold(A0_LAW.counts_from_c, "A0 counts from here", temperature)
        if limits.hold_c is not None:
            yield from _threshold(limits.hold_c, f"{limits.hold_c:g} °C", temperature)
            yield from _hold(trace, limits.hold_c, inf, time)


def _hatched(top: float, bottom: float) -> Iterator[str]:
    """A band across the plot, hatched line by line so that it needs no pattern with an id."""
    height = bottom - top
    strokes = []
    for foot in np.arange(LEFT - height + HATCH_STEP, RIGHT, HATCH_STEP):
        start, end = max(float(foot), LEFT), min(float(foot) + height, RIGHT)
        strokes.append(f"M{start:.1f} {bottom - (start - foot):.1f}L{end:.1f} {bottom - (end - foot):.1f}")
    edges = f"M{LEFT:g} {top:.1f}H{RIGHT:g}M{LEFT:g} {bottom:.1f}H{RIGHT:g}"
    yield f'<path class="trace-band" d="{"".join(strokes)}" fill="none" stroke="currentColor" stroke-opacity="0.4"/>'
    yield f'<path class="trace-band" d="{edges}" fill="none" stroke="currentColor" stroke-opacity="0.7"/>'


def _threshold(value_c: float, words: str, temperature: Axis) -> Iterator[str]:
    if temperature.low < value_c < temperature.high:
        y = temperature.at(value_c)
        yield line_at(LEFT, y, RIGHT, y, ' class="trace-threshold" stroke-opacity="0.7" stroke-dasharray="1 3"')
        yield text_at(LEFT + 6, y - 6, f"{value_c:g} °C, {words}" if "°C" not in words else words)


def _hold(trace: Trace, low_c: float, high_c: float, time: Axis) -> Iterator[str]:
    """A bracket over the longest continuous time in the band, with its length."""
    hold = longest_within(trace, low_c, high_c)
    if hold is None:
        return
    start, end = (time.at(minutes_of(at - trace.times_s[0])) for at in (hold.start_s, hold.end_s))
    path = f"M{start:.1f} {TOP:.1f}v-{TICK:g}H{end:.1f}v{TICK:g}"
    yield f'<path class="trace-hold" d="{path}" fill="none" stroke="currentColor" stroke-width="2"/>'
    middle = min(max((start + end) / 2, LEFT + HOLD_MARGIN), RIGHT - HOLD_MARGIN)
    yield text_at(middle, TOP - TICK - 6, f"hold {duration_words(hold.length_s)}", "middle")


def _gaps(trace: Trace, time: Axis) -> Iterator[str]:
    """Where nothing at all was recorded, said in words."""
    minutes = minutes_of(1) * (trace.times_s - trace.times_s[:1])
    for at in np.flatnonzero(is_gap(np.diff(trace.times_s))):
        start, end = time.at(float(minutes[at])), time.at(float(minutes[at + 1]))
        for x in (start, end):
            yield line_at(x, TOP, x, BOTTOM, ' class="trace-gap" stroke-opacity="0.7" stroke-dasharray="2 4"')
        beside = (start - 6, "end") if end > RIGHT - HOLD_MARGIN * 2 else (end + 6, "start")
        yield text_at(beside[0], BOTTOM - 8, "no record", beside[1])


def _curves(trace: Trace, time: Axis, temperature: Axis, pressure: Axis | None) -> Iterator[str]:
    first = trace.times_s[0] if trace.times_s.size else 0.0
    if pressure is not None:
        for times, readings in trace.pressure_readings():
            path = path_of(times - first, readings, time, pressure)
            yield f'<path class="trace-pressure" d="{path}" {_stroke_of_pressure()}/>'
    for at, (times, readings) in enumerate(trace.probe_readings()):
        path = path_of(times - first, readings, time, temperature)
        yield f'<path class="trace-temperature" d="{path}" {_stroke_of_probe(at)}/>'


def _stroke_of_pressure() -> str:
    return 'fill="none" stroke="currentColor" stroke-width="1.5" stroke-opacity="0.8"'


def _stroke_of_probe(at: int) -> str:
    dash = DASHES[at % len(DASHES)]
    return f'fill="none" stroke="currentColor" stroke-width="2.25" stroke-dasharray="{dash}"'


def path_of(seconds: FloatArray, readings: FloatArray, time: Axis, axis: Axis) -> str:
    """Path of one column, broken at its gaps and thinned."""
    pieces = []
    for run in np.split(np.arange(seconds.size), np.flatnonzero(is_gap(np.diff(seconds))) + 1):
        kept = run[thinned(seconds[run], readings[run])]
        points = [f"{time.at(minutes_of(float(seconds[k]))):.1f} {axis.at(float(readings[k])):.1f}" for k in kept]
        pieces.append("M" + "L".join(points) if points else "")
    return "".join(pieces)


def thinned(seconds: FloatArray, readings: FloatArray) -> list[int]:
    """Positions of the first and last reading, and of the least and greatest of each sliver of time."""
    count = seconds.size
    if count <= 2 * SLIVERS:
        return list(range(count))
    edges = np.searchsorted(seconds, np.linspace(seconds[0], seconds[-1], SLIVERS + 1)[1:-1])
    kept = {0, count - 1}
    for start, end in zip([0, *edges], [*edges, count], strict=True):
        if start < end:
            kept.add(int(start + np.argmin(readings[start:end])))
            kept.add(int(start + np.argmax(readings[start:end])))
    return sorted(kept)


def _legend(trace: Trace) -> Iterator[str]:
    """Each line with its name, side by side above the plot."""
    entries = [(name, _stroke_of_probe(at)) for at, name in enumerate(trace.probes)]
    entries += [(name, _stroke_of_pressure()) for name in trace.gauges]
    width = (RIGHT - LEFT) / max(len(entries), 1)
    for at, (name, stroke) in enumerate(entries):
        x, y = LEFT + at * width, TOP - 40
        yield f'<path d="M{x:.1f} {y:.1f}h{LEGEND_LINE:g}" {stroke}/>'
        yield text_at(x + LEGEND_LINE + 8, y + FONT_SIZE / 3, name)
