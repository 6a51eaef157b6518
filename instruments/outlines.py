"""Outlines of parts as SVG: what is measured is drawn to scale, a long shaft broken; nothing is drawn that is not."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from html import escape
from math import cos, isfinite, radians, sin

from instruments.gauge import millimetres

WINDOW_MM = 48.0  # of a shaft, drawn at most
BREAK_MM = 4.0
SIGN_MM = 11.0  # of a handle or an eyepiece, which is a sign and not measured
EDGE_MM = 1.0  # white around the drawing
LOOK_MM = 5.0  # of the line along which a telescope looks
WIDEST_VIEW_DEG = 180


@dataclass(frozen=True, slots=True)
class Shape:
    """What is known of the shape of a part.

    Args:
        kind: of the part, as the catalogue says it: "barrel".
        length_mm: its length [mm]; of a base what it adds on the axis. None = not measured, here and below.
        outer_mm: outer diameter, width of a shaft, or free diameter of an implant [mm].
        inner_mm: inner diameter, or the diameter of a seal's opening [mm].
        ports_mm: bores of a base's ports [mm], the one on the axis first.
        openings: of a seal.
        view_deg: direction in which a telescope looks, from its axis [°].
        side_ports: a barrel has holes near its tip.

    Raises:
        ValueError: a length that is not above 0, openings below 0, or a direction outside 0 to 180°.
    """

    kind: str
    length_mm: float | None = None
    outer_mm: float | None = None
    inner_mm: float | None = None
    ports_mm: tuple[float | None, ...] = ()
    openings: int = 0
    view_deg: int = 0
    side_ports: bool = False

    def __post_init__(self) -> None:
        lengths = (self.length_mm, self.outer_mm, self.inner_mm, *self.ports_mm)
        if any(length is not None and not (isfinite(length) and length > 0) for length in lengths):
            raise ValueError("Cannot draw a part: a length of it is not above 0 mm.")
        if self.openings < 0 or not 0 <= self.view_deg <= WIDEST_VIEW_DEG:
            raise ValueError("Cannot draw a part: it needs 0 or more openings, and a view from 0° to 180°.")

    @property
    def is_drawn(self) -> bool:
        """Whether parts of this kind have an outline at all."""
        return self.kind in _DRAWN

    @property
    def broken(self) -> bool:
        """Whether the middle of its shaft is left out."""
        return self.kind in _SHAFTS and self.length_mm is not None and self.length_mm > WINDOW_MM


@dataclass(frozen=True, slots=True)
class _Picture:
    """Elements, and the room [mm] that they take: x runs along the axis from the near end, y downwards from it."""

    body: str
    left: float
    right: float
    half: float


def outline(shape: Shape, name: str, *, scale: float) -> str:
    """The outline of a part from the side (loader and seal: from the front), in black lines only.

    Widths and lengths are to scale; where a shaft is long, its middle is left out between two strokes.
    Handles, eyepieces, holes and the rim of a seal are signs: their size says nothing.

    Args:
        shape: what is known of it.
        name: of the part, for a reader who does not see it.
        scale: drawn millimetres for each millimetre of the part, above 0.

    Returns:
        An SVG element; empty where a length that it needs is not measured, or parts of this kind have no outline.

    Raises:
        ValueError: the scale is not above 0.
    """
    if not scale > 0:
        raise ValueError(f"Cannot draw at a scale of {scale}: it must be above 0.")
    draw = _DRAWN.get(shape.kind)
    picture = draw(shape) if draw else None
    if picture is None:
        return ""
    left, half = picture.left - EDGE_MM, picture.half + EDGE_MM
    width, height = picture.right + EDGE_MM - left, 2 * half
    words = escape(_words(shape, name))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{words}"'
        f' width="{width * scale:.2f}mm" height="{height * scale:.2f}mm"'
        f' viewBox="{left:.2f} {-half:.2f} {width:.2f} {height:.2f}"'
        f' fill="none" stroke="currentColor" stroke-width="{0.2 / scale:.2f}">'
        f"<title>{words}</title>{picture.body}</svg>"
    )


def _words(shape: Shape, name: str) -> str:
    """What the drawing shows, for its accessible name."""
    diameters = {"seal": "openings of", "loader": "inner", "barrel": "inner", "sheath": "inner"}
    told = [
        f"{millimetres(shape.outer_mm)} wide" if shape.outer_mm else "",
        f"{diameters[shape.kind]} {millimetres(shape.inner_mm)}" if shape.inner_mm and shape.kind in diameters else "",
        f"{millimetres(shape.length_mm)} long{', drawn broken' if shape.broken else ''}" if shape.length_mm else "",
        f"looks at {shape.view_deg}°" if shape.kind == "telescope" else "",
        "with side ports" if shape.side_ports else "",
        f"{shape.openings} opening{'s' * (shape.openings != 1)}" if shape.kind == "seal" else "",
        f"{len(shape.ports_mm)} port{'s' * (len(shape.ports_mm) != 1)}" if shape.kind == "base" else "",
    ]
    return f"Outline of {name}: {', '.join(words for words in told if words)}"


def _body(length_mm: float, width_mm: float) -> tuple[str, float]:
    """A shaft, broken in the middle when it is long, and where its far end is drawn."""
    half = width_mm / 2
    if length_mm <= WINDOW_MM:
        return _rect(0, -half, length_mm, width_mm), length_mm
    first, second = (WINDOW_MM - BREAK_MM) / 2, (WINDOW_MM + BREAK_MM) / 2
    ends = _path(f"M{first} {-half:.2f}H0V{half:.2f}H{first}M{second} {-half:.2f}H{WINDOW_MM}V{half:.2f}H{second}")
    strokes = "".join(
        _path(f"M{at - 0.8:.2f} {half + 1:.2f}L{at + 0.8:.2f} {-half - 1:.2f}") for at in (first, second)
    )
    return ends + strokes, WINDOW_MM


def _tube(shape: Shape) -> _Picture | None:
    """Barrel or sheath: its walls, dashed inside, and holes near the tip."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    half = shape.outer_mm / 2
    if shape.inner_mm is not None:
        bore, first, second = shape.inner_mm / 2, (WINDOW_MM - BREAK_MM) / 2, (WINDOW_MM + BREAK_MM) / 2
        runs = ((0.0, first), (second, end)) if shape.broken else ((0.0, end),)
        lines = "".join(f"M{a:.2f} {y:.2f}H{b:.2f}" for a, b in runs for y in (-bore, bore))
        body += _path(lines, ' stroke-dasharray="1.6 1"')
    if shape.side_ports:
        body += "".join(_ellipse(end - at, 0, 1.2, min(half * 0.4, 1.2)) for at in (4, 8.5, 13) if at < end)
    if shape.kind == "barrel":
        body += _rect(-2, -half - 1.5, 2, shape.outer_mm + 3)  # where it couples: a sign
    return _Picture(body, -2, end, half + 1.5)


def _telescope(shape: Shape) -> _Picture | None:
    """Eyepiece as a sign, shaft, and the line along which it looks."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    along, up = LOOK_MM * cos(radians(shape.view_deg)), LOOK_MM * sin(radians(shape.view_deg))
    body += _path(f"M{-SIGN_MM} -4V4L-8 3H0V-3H-8Z")
    body += _path(f"M{end:.2f} 0L{end + along:.2f} {-up:.2f}", ' stroke-dasharray="1 0.7"')
    return _Picture(body, -SIGN_MM, end + max(along, 0), max(4, up, shape.outer_mm / 2 + 1))


def _forceps(shape: Shape) -> _Picture | None:
    """Two rings as a sign, shaft, jaws as a sign."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    body += _ellipse(-8, -2.6, 2.4, 2.2) + _ellipse(-8, 2.6, 2.4, 2.2) + _path("M-5.7 -1.8L0 0L-5.7 1.8")
    spread = max(shape.outer_mm / 2, 1)
    body += _path(f"M{end + 4:.2f} {-spread:.2f}L{end:.2f} 0L{end + 4:.2f} {spread:.2f}")
    return _Picture(body, -SIGN_MM, end + 4, max(4.8, shape.outer_mm / 2 + 1))


def _suction(shape: Shape) -> _Picture | None:
    """A connector as a sign, and the shaft."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    body += _path(f"M{-SIGN_MM} -2.4H-7L0 {-shape.outer_mm / 2:.2f}V{shape.outer_mm / 2:.2f}L-7 2.4H{-SIGN_MM}Z")
    return _Picture(body, -SIGN_MM, end, max(2.4, shape.outer_mm / 2 + 1))


def _pusher(shape: Shape) -> _Picture | None:
    """A knob as a sign, and the shaft."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    half = max(4, shape.outer_mm / 2 + 1)
    return _Picture(body + _rect(-2.5, -half, 2.5, 2 * half), -2.5, end, half)


def _implant(shape: Shape) -> _Picture | None:
    """Its free size, with a weave as a sign."""
    if shape.outer_mm is None or shape.length_mm is None:
        return None
    body, end = _body(shape.length_mm, shape.outer_mm)
    half = shape.outer_mm / 2
    if not shape.broken:
        lines = "".join(
            f"M{end * a:.2f} {-half:.2f}L{end * b:.2f} {half:.2f}" for n in range(4) for a, b in _crossed(n / 4)
        )
        body += _path(lines)
    return _Picture(body, 0, end, half + 1)


def _crossed(at: float) -> tuple[tuple[float, float], tuple[float, float]]:
    return (at, at + 0.25), (at + 0.25, at)


def _loader(shape: Shape) -> _Picture | None:
    """From the front: outer and inner diameter."""
    if shape.outer_mm is None or shape.inner_mm is None:
        return None
    half = shape.outer_mm / 2
    return _Picture(_circle(0, half) + _circle(0, shape.inner_mm / 2), -half, half, half)


def _seal(shape: Shape) -> _Picture | None:
    """From the front: openings to scale in a row; the rim is a sign."""
    if shape.inner_mm is None or not shape.openings:
        return None
    apart = shape.inner_mm + 1.5
    reach = apart * (shape.openings - 1) / 2
    rim = reach + shape.inner_mm / 2 + 2
    body = _circle(0, rim) + "".join(_circle(n * apart - reach, shape.inner_mm / 2) for n in range(shape.openings))
    return _Picture(body, -rim, rim, rim)


def _base(shape: Shape) -> _Picture | None:
    """What it adds on the axis, and the bore of each port; the height of the block is a sign."""
    bores = [bore for bore in shape.ports_mm if bore is not None]
    if shape.length_mm is None or not bores or len(bores) < len(shape.ports_mm):
        return None
    axis, *others = bores
    half, stub = axis / 2 + 2, 3.0
    room = (sum(others) + 2 * (len(others) + 1)) if others else 0.0
    length = shape.length_mm
    body = _rect(0, -half, length, 2 * half) + _path(
        f"M0 {-axis / 2:.2f}H{-stub}V{axis / 2:.2f}H0M0 {-axis / 2:.2f}H{length:.2f}M0 {axis / 2:.2f}H{length:.2f}"
    )
    at = (length - room) / 2 + 2
    for bore in others:
        body += _path(f"M{at:.2f} {-half:.2f}V{-half - stub:.2f}H{at + bore:.2f}V{-half:.2f}")
        at += bore + 2
    return _Picture(body, min(-stub, (length - room) / 2), max(length, (length + room) / 2), half + stub)


def _path(d: str, more: str = "") -> str:
    return f'<path d="{d}"{more}/>'


def _rect(left: float, top: float, width: float, height: float) -> str:
    return f'<rect x="{left:.2f}" y="{top:.2f}" width="{width:.2f}" height="{height:.2f}"/>'


def _ellipse(x: float, y: float, across: float, high: float) -> str:
    return f'<ellipse cx="{x:.2f}" cy="{y:.2f}" rx="{across:.2f}" ry="{high:.2f}"/>'


def _circle(x: float, radius: float) -> str:
    return f'<circle cx="{x:.2f}" cy="0" r="{radius:.2f}"/>'


_SHAFTS: Mapping[str, Callable[[Shape], _Picture | None]] = {
    "barrel": _tube,
    "sheath": _tube,
    "telescope": _telescope,
    "forceps": _forceps,
    "suction": _suction,
    "pusher": _pusher,
    "implant": _implant,
}
_DRAWN: Mapping[str, Callable[[Shape], _Picture | None]] = {
    **_SHAFTS,
    "loader": _loader,
    "seal": _seal,
    "base": _base,
}
