"""Drawings to scale as SVG: a bore with the shafts in it, seen along the axis."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import hypot

PAD_MM = 1.2
BAR_MM = 5.0
PIXELS_PER_MM = 26
MOST_PIXELS = 460


def cross_section(
    bore_mm: float,
    shafts: Sequence[tuple[str, float, tuple[float, float]]],
    *,
    outer_mm: float | None = None,
    title: str,
    describe: str,
) -> str:
    """A bore and the shafts in it, to scale, with a scale bar.

    Args:
        bore_mm: inner diameter [mm].
        shafts: for each its name, diameter [mm] and centre (x, y) [mm] from the axis of the bore.
        outer_mm: outer diameter of the tube, drawn as its wall; None = not measured, no wall drawn.
        title: what is shown, for a reader who does not see it.
        describe: the finding in words.

    Returns:
        An SVG element; its user unit is the millimetre. Shafts outside the bore are drawn dashed.
    """
    reach = max([(outer_mm or bore_mm) / 2, *(hypot(*centre) + size / 2 for _, size, centre in shafts)]) + PAD_MM
    pixels = min(2 * reach * PIXELS_PER_MM, MOST_PIXELS)
    height = 2 * reach + 2.2
    body = [_tube(bore_mm, outer_mm), *(_shaft(number, row, bore_mm) for number, row in enumerate(shafts, start=1))]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{pixels:.0f}" '
        f'viewBox="{-reach:.3f} {-reach:.3f} {2 * reach:.3f} {height:.3f}" '
        f'font-family="Atkinson Hyperlegible Next, DejaVu Sans, sans-serif" fill="none" stroke="currentColor">'
        f"<title>{escape(title)}</title><desc>{escape(describe)}</desc>"
        f"{''.join(body)}{_bar(reach)}</svg>"
    )


def _tube(bore_mm: float, outer_mm: float | None) -> str:
    wall = ""
    if outer_mm is not None:
        middle, width = (bore_mm + outer_mm) / 4, (outer_mm - bore_mm) / 2
        wall = f'<circle r="{middle:.4f}" stroke-width="{width:.4f}" stroke-opacity="0.18"/>'
        wall += f'<circle r="{outer_mm / 2:.4f}" stroke-width="0.08"/>'
    cross = '<path d="M-0.4 0H0.4M0-0.4V0.4" stroke-width="0.04" stroke-opacity="0.5"/>'
    return f'{wall}<circle r="{bore_mm / 2:.4f}" stroke-width="0.12"/>{cross}'


def _shaft(number: int, row: tuple[str, float, tuple[float, float]], bore_mm: float) -> str:
    name, size, (x, y) = row
    outside = hypot(x, y) + size / 2 > bore_mm / 2 + 1e-6
    dashes = ' stroke-dasharray="0.4 0.25"' if outside else ""
    text = min(size * 0.55, 1.4)
    return (
        f'<g transform="translate({x:.4f} {-y:.4f})"><title>{escape(name)}</title>'
        f'<circle r="{size / 2:.4f}" stroke-width="0.08" fill="currentColor" fill-opacity="0.10"{dashes}/>'
        f'<text text-anchor="middle" dominant-baseline="central" font-size="{text:.3f}" fill="currentColor" '
        f'stroke="none">{number}</text></g>'
    )


def _bar(reach: float) -> str:
    left, line = -BAR_MM / 2, reach + 0.7
    return (
        f'<path d="M{left:.3f} {line - 0.25:.3f}v0.5m0-0.25h{BAR_MM}m0-0.25v0.5" stroke-width="0.1"/>'
        f'<text x="0" y="{line + 1.25:.3f}" text-anchor="middle" font-size="0.95" fill="currentColor" stroke="none">'
        f"{BAR_MM:g} mm</text>"
    )
