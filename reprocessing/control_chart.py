"""Shares over time with their control limits: the p-chart, for samples of varying size.

Source: D. C. Montgomery, Introduction to Statistical Quality Control, control chart for fraction nonconforming:
the centre line is the mean fraction over all samples, the limits lie three standard errors of each sample's own size
from it (formula from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, sqrt

SIGMAS = 3.0
"""Standard errors between the centre line and a limit; Shewhart's choice, in every text."""
LEAST_SAMPLES = 8
"""Below this many samples limits say little: they are drawn, and it is said. Common practice, no source."""

NAMESPACE = 'xmlns="http://www.w3.org/2000/svg"'
WIDTH, HEIGHT = 920.0, 320.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 904.0, 32.0, 272.0
FONT = "Atkinson Hyperlegible Next, DejaVu Sans, sans-serif"
FONT_SIZE = 16
MOST_LABELS = 10
MARK = 5.0


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample.

    Args:
        label: when it was ("week 47").
        count: how many of it had the property.
        of: how many there were.

    Raises:
        ValueError: it is empty, or more had the property than there were.
    """

    label: str
    count: int
    of: int

    def __post_init__(self) -> None:
        if self.of < 1 or not 0 <= self.count <= self.of:
            raise ValueError(f"A sample of {self.of} cannot hold {self.count}.")

    @property
    def share(self) -> float:
        """The share that had it."""
        return self.count / self.of


@dataclass(frozen=True, slots=True)
class Point:
    """A sample with its limits.

    Args:
        sample: the sample.
        low: lower limit of its share, not below 0.
        high: upper limit, not above 1.
    """

    sample: Sample
    low: float
    high: float

    @property
    def outside(self) -> bool:
        """Whether its share lies beyond a limit."""
        return not self.low <= self.sample.share <= self.high


@dataclass(frozen=True, slots=True)
class Chart:
    """A p-chart: the mean share and each sample with its limits."""

    mean: float
    points: tuple[Point, ...]

    @property
    def outside(self) -> tuple[Point, ...]:
        """Points beyond a limit: each asks for its cause, and proves none."""
        return tuple(point for point in self.points if point.outside)

    @property
    def few(self) -> bool:
        """Whether there are too few samples for the limits to say much."""
        return len(self.points) < LEAST_SAMPLES


def p_chart(samples: Sequence[Sample]) -> Chart | None:
    """The chart of these samples; None of none.

    Args:
        samples: in order of time; their sizes may differ.
    """
    if not samples:
        return None
    mean = sum(sample.count for sample in samples) / sum(sample.of for sample in samples)
    return Chart(mean, tuple(_point(sample, mean) for sample in samples))


def _point(sample: Sample, mean: float) -> Point:
    reach = SIGMAS * sqrt(mean * (1.0 - mean) / sample.of)
    return Point(sample, max(0.0, mean - reach), min(1.0, mean + reach))


def percentile(values: Sequence[float], share: float) -> float:
    """The least value that at least this share of the values do not exceed (nearest rank).

    Args:
        values: at least one.
        share: above 0, to 1.

    Raises:
        ValueError: there is no value, or the share is none.
    """
    if not values or not 0.0 < share <= 1.0:
        raise ValueError(f"There is no value that {share} of {len(values)} values do not exceed.")
    return sorted(values)[max(1, ceil(share * len(values) - 1e-9)) - 1]


def chart_svg(chart: Chart, *, title: str, describe: str) -> str:
    """Draw a p-chart: shares as a line with marks, the mean, and limits stepped by sample.

    It takes its colour from the text around it. A point beyond a limit is a filled square with its label; the others
    are open circles.

    Args:
        chart: what is drawn.
        title: name of the picture, for whoever hears it read.
        describe: what it shows, in words.

    Returns:
        One `<svg>` element.
    """
    top = max(0.05, *(max(point.high, point.sample.share) for point in chart.points)) * 1.1
    look = f'fill="currentColor" stroke="none" font-family="{FONT}" font-size="{FONT_SIZE}"'
    return "".join(
        [
            f'<svg {NAMESPACE} role="img" class="control-chart" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" {look}>',
            f"<title>{escape(title)}</title><desc>{escape(describe)}</desc>",
            *_frame(chart, top),
            *_limits(chart, top),
            *_shares(chart, top),
            "</svg>",
        ]
    )


def _x(chart: Chart, place: float) -> float:
    return LEFT + (place + 0.5) * (RIGHT - LEFT) / len(chart.points)


def _y(share: float, top: float) -> float:
    return BOTTOM - share / top * (BOTTOM - TOP)


def _text(x: float, y: float, words: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _path(path: str, more: str) -> str:
    return f'<path d="{path}" fill="none" stroke="currentColor" {more}/>'


def _frame(chart: Chart, top: float) -> Iterator[str]:
    yield _path(f"M{LEFT} {TOP}V{BOTTOM}H{RIGHT}", 'stroke-width="1"')
    for share in (0.0, chart.mean, top / 1.1):
        yield _text(LEFT - 8, _y(share, top) + FONT_SIZE / 3, f"{share:.0%}", "end")
    every = ceil(len(chart.points) / MOST_LABELS)
    for place, point in enumerate(chart.points):
        if place % every == 0:
            yield _text(_x(chart, place), BOTTOM + 24, point.sample.label)


def _limits(chart: Chart, top: float) -> Iterator[str]:
    mean = _y(chart.mean, top)
    yield _path(f"M{LEFT} {mean:.1f}H{RIGHT}", 'stroke-width="1.5" stroke-dasharray="12 4"')
    for name in ("low", "high"):
        steps = [
            f"{'M' if place == 0 else 'L'}{_x(chart, place - 0.5):.1f} {_y(getattr(point, name), top):.1f}"
            f"H{_x(chart, place + 0.5):.1f}"
            for place, point in enumerate(chart.points)
        ]
        yield _path("".join(steps), 'stroke-width="1.5" stroke-dasharray="3 3"')


def _shares(chart: Chart, top: float) -> Iterator[str]:
    spots = [(_x(chart, place), _y(point.sample.share, top)) for place, point in enumerate(chart.points)]
    yield _path("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots), 'stroke-width="2.25"')
    for (x, y), point in zip(spots, chart.points, strict=True):
        if point.outside:
            yield f'<rect x="{x - MARK:.1f}" y="{y - MARK:.1f}" width="{2 * MARK:g}" height="{2 * MARK:g}"/>'
            yield _text(x, y - 2 * MARK, "outside")
        else:
            yield (
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{MARK:g}" fill="Canvas" stroke="currentColor" '
                f'stroke-width="2"/>'
            )
