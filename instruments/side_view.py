"""A set-up to scale as SVG, seen from the side: base, seals, barrel broken at the middle, tips past the end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from instruments.fit import Measure
from instruments.gauge import millimetres
from instruments.joints import past_end_mm
from instruments.lumens import Lumen
from instruments.mounting import Mounting, Tube

PIXELS_PER_MM = 3.5
BEHIND_MM, BEFORE_MM = 22.0, 36.0  # of the barrel, drawn at its coupling and at its tip
BREAK_MM = 6.0
STUB_MM = 8.0  # of a shaft, drawn behind the seal
ROW_MM = 5.5
TEXT_MM = 3.5
AFTER_MM = 80.0  # past the tip; what is further is cut there and says so
ASIDE_MM = 44.0  # room for the words of a tip
BAR_MM = 10.0
UNKNOWN_BASE_MM = 25.0  # drawn, dashed, where nobody measured it


@dataclass(frozen=True, slots=True)
class Tip:
    """A shaft as it is drawn.

    Args:
        number: as in the legend.
        name: of the shaft.
        width_mm: its width [mm]; None = not measured.
        off_mm: distance of its middle from the axis in the drawing [mm].
        past_mm: its tip past the barrel's [mm], negative inside; None = not measured.
        port: name of the port it comes by.
    """

    number: int
    name: str
    width_mm: float | None
    off_mm: float
    past_mm: float | None
    port: str

    @property
    def words(self) -> str:
        """Where its tip is."""
        if self.past_mm is None:
            return "tip not measured"
        return f"{millimetres(abs(self.past_mm))} {'past the tip' if self.past_mm >= 0 else 'before the tip'}"


def tips_of(mounting: Mounting, lumens: tuple[Lumen, ...]) -> tuple[Tip, ...]:
    """Every shaft of a set-up and the pusher, with where its tip is at nominal lengths.

    Args:
        mounting: what is put together.
        lumens: its tubes, for how the shafts lie.
    """
    m, offs = mounting, _offs(lumens)
    shafts = [
        (s.name, s.width, past_end_mm(Measure(s.name, s.length), m.way(s.port)), s.port or m.axis) for s in m.apart
    ]
    if m.pusher:
        past = past_end_mm(Measure(m.pusher.name, m.pusher.length), m.way(m.axis))
        shafts.append((m.pusher.name, m.pusher.width, past, m.axis))
    return tuple(
        Tip(number, name, width.nominal_mm if width else None, offs.get(name, 0.0), past, port)
        for number, (name, width, past, port) in enumerate(shafts, start=1)
    )


def _offs(lumens: tuple[Lumen, ...]) -> dict[str, float]:
    """Where the middle of each shaft lies across the drawing, from the layout in its bore [mm]."""
    found: dict[str, float] = {}
    for lumen in lumens:
        own = found.get(lumen.tube.name, 0.0)
        centres = lumen.passage.centres_mm if lumen.passage else ()
        found |= {shaft.name: own + x for shaft, (x, _) in zip(lumen.contents, centres, strict=False)}
    return found


def side_view(
    mounting: Mounting, lumens: tuple[Lumen, ...], wanted_mm: float | None, *, title: str, describe: str
) -> str:
    """A set-up from the side, to scale in both directions; a long barrel is broken and says by how much.

    Args:
        mounting: what is put together.
        lumens: its tubes, for how the shafts lie.
        wanted_mm: wanted reach past the tip [mm]; None = no mark.
        title: what is shown, for a reader who does not see it.
        describe: the finding in words; where each tip is follows it.

    Returns:
        An SVG element whose user unit is the millimetre; empty where bore or length of the barrel are not measured.
    """
    if mounting.barrel.bore is None or mounting.barrel.length is None:
        return ""
    tips = tips_of(mounting, lumens)
    drawing = _Drawing(mounting, tips, wanted_mm)
    found = " ".join(f"{tip.number}, {tip.name}: {tip.words}." for tip in tips)
    left, top, width, height = drawing.left, drawing.top, drawing.width, drawing.height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width * PIXELS_PER_MM:.0f}" '
        f'height="{height * PIXELS_PER_MM:.0f}" viewBox="{left:.2f} {top:.2f} {width:.2f} {height:.2f}" '
        f'font-family="Atkinson Hyperlegible Next, DejaVu Sans, sans-serif" font-size="{TEXT_MM}" fill="none" '
        f'stroke="currentColor" stroke-width="0.3">'
        f"<title>{escape(title)}</title><desc>{escape(f'{describe} {found}'.strip())}</desc>"
        f"{''.join(drawing.body())}</svg>"
    )


class _Drawing:
    """Lengths on the axis are counted from the barrel's tip, negative behind it; x() takes the break out."""

    def __init__(self, mounting: Mounting, tips: tuple[Tip, ...], wanted_mm: float | None) -> None:
        m = mounting
        self.m, self.tips, self.wanted_mm = m, tips, wanted_mm
        self.barrel_mm = m.barrel.length.nominal_mm if m.barrel.length else 0.0
        spare_mm = self.barrel_mm - BEHIND_MM - BEFORE_MM - BREAK_MM
        self.cut_mm = max(spare_mm, 0.0)
        way = m.port(m.axis).way
        self.base_mm = (way.nominal_mm if way else UNKNOWN_BASE_MM) if m.base else 0.0
        seal = m.seal(m.axis)
        self.seal_mm = (seal.thickness.nominal_mm if seal.thickness else 2.0) if seal else 0.0
        tubes = [tube for tube in (m.barrel, m.sheath) if tube]
        sizes = [size.nominal_mm for tube in tubes for size in (tube.outer, tube.bore) if size]
        self.half_mm = max([*sizes, *(2 * abs(tip.off_mm) + (tip.width_mm or 0) for tip in tips)]) / 2
        self.rear_mm = -(self.barrel_mm + self.base_mm + self.seal_mm)
        self.left = self.x(self.rear_mm) - STUB_MM - 2
        self.width = max(self._ends()) + 2 - self.left
        self.top = -self.half_mm - 14
        self.height = self.half_mm + 10 + ROW_MM * (len(tips) + 1) - self.top

    def _ends(self) -> Iterator[float]:
        """How far right each tip with its words goes, and the mark of the wanted reach with its own."""
        yield self.x(self.wanted_mm or 0.0) + ASIDE_MM / 2
        yield from (self.x(max(tip.past_mm or 0.0, 0.0)) + (0 if self._room(tip) else ASIDE_MM) for tip in self.tips)

    def _room(self, tip: Tip) -> bool:
        """Whether the words of a tip stand between the barrel's end and it."""
        return self.x(tip.past_mm or 0.0) > ASIDE_MM + (self.wanted_mm or 0.0)

    def x(self, axis_mm: float) -> float:
        """Where a length on the axis is drawn."""
        if axis_mm >= -BEFORE_MM or not self.cut_mm:
            return min(axis_mm, AFTER_MM)
        return min(axis_mm + self.cut_mm, -BEFORE_MM - BREAK_MM / 2)

    def body(self) -> Iterator[str]:
        """Every element, what lies below first."""
        barrel, sheath = self.m.barrel, self.m.sheath
        yield from self._tube(barrel, -self.barrel_mm, 0.0)
        if sheath and sheath.length:
            behind = self.base_mm if self.m.through else 0.0
            start = -(self.barrel_mm + behind)
            yield from self._tube(sheath, start, start + sheath.length.nominal_mm)
        if barrel.side_ports:
            height = self.half_mm if barrel.outer is None else barrel.outer.nominal_mm / 2
            yield from (f'<ellipse cx="{-at}" cy="{height:.2f}" rx="1.6" ry="0.5"/>' for at in (10, 16, 22))
        if self.m.base:
            yield from self._base()
        for tip in self.tips:
            yield from self._shaft(tip)
        yield from self._break()
        yield from self._marks()

    def _tube(self, tube: Tube, start_mm: float, end_mm: float) -> Iterator[str]:
        """Upper and lower wall of a tube; where one diameter is not measured, a dashed line."""
        left, right = self.x(start_mm), self.x(end_mm)
        inner = tube.bore.nominal_mm / 2 if tube.bore else None
        outer = tube.outer.nominal_mm / 2 if tube.outer else None
        for side in (-1, 1):
            if inner is not None and outer is not None:
                top = min(side * inner, side * outer)
                yield _rect(left, top, right - left, outer - inner, 'fill="currentColor" fill-opacity="0.2"')
            else:
                height = side * (inner or outer or 0)
                yield f'<path d="M{left:.2f} {height:.2f}H{right:.2f}" stroke-dasharray="2 1"/>'

    def _base(self) -> Iterator[str]:
        """The block of the base: its length to scale, its height a sign; stubs for other ports in use."""
        m, height = self.m, self.half_mm + 3
        left, right = self.x(-self.barrel_mm - self.base_mm), self.x(-self.barrel_mm)
        measured = m.port(m.axis).way is not None
        dashes = "" if measured else ' stroke-dasharray="2 1"'
        yield _rect(left, -height, right - left, 2 * height, f'fill="currentColor" fill-opacity="0.06"{dashes}')
        words = f"base {millimetres(self.base_mm)}" if measured else "base not measured"
        yield _text(words, (left + right) / 2, height + 4.2, "middle")
        for port, at in self._stubs().items():
            sealed = 0.45 if m.seal(port) else 0.0
            yield _rect(at - 2.5, -height - 3, 5, 3)
            yield _rect(at - 3.2, -height - 4, 6.4, 1, f'fill="currentColor" fill-opacity="{sealed}"')
            yield _text(port, at, -height - 5.2, "middle")
        if m.seal(m.axis):
            yield _rect(left - self.seal_mm, -height + 1, self.seal_mm, 2 * height - 2, _SEALED)
            yield _text("seal", left - self.seal_mm, -height - 1.5, "middle")

    def _stubs(self) -> dict[str, float]:
        """Where each port beside the axis that carries a seal or a shaft is drawn."""
        m = self.m
        used = {name for name, _ in m.seals} | {tip.port for tip in self.tips}
        ports = [port.name for port in (m.base.ports if m.base else ()) if port.name in used and not port.on_axis]
        left = self.x(-self.barrel_mm - self.base_mm)
        return {port: left + self.base_mm * (n + 1) / (len(ports) + 1) for n, port in enumerate(ports)}

    def _shaft(self, tip: Tip) -> Iterator[str]:
        left = self._stubs().get(tip.port, self.x(self.rear_mm) - STUB_MM)
        right = self.x(tip.past_mm if tip.past_mm is not None else -12.0)
        width = tip.width_mm or 1.0
        dashes = "" if tip.width_mm and tip.past_mm is not None else ' stroke-dasharray="1.5 1"'
        look = f'fill="currentColor" fill-opacity="0.14"{dashes}'
        name = f"<title>{escape(f'{tip.number}: {tip.name}')}</title>"
        yield f"<g>{name}{_rect(left, tip.off_mm - width / 2, max(right - left, 0.5), width, look)}</g>"

    def _break(self) -> Iterator[str]:
        """The piece of the barrel that is left out, between two jagged lines."""
        if not self.cut_mm:
            return
        high = self.half_mm + 1.5
        left = -BEFORE_MM - BREAK_MM
        yield _rect(left, -high, BREAK_MM, 2 * high, 'class="blank" stroke="none"')
        for at in (left, -BEFORE_MM):
            yield f'<path d="M{at} {-high}l1 {high * 0.5}l-2 {high * 0.5}l2 {high * 0.5}l-1 {high * 0.5}"/>'
        words = f"{millimetres(self.cut_mm + BREAK_MM)} of the barrel not drawn"
        yield _text(words, left + BREAK_MM / 2, -self.half_mm - 4, "middle")

    def _marks(self) -> Iterator[str]:
        """The tip, the wanted reach, each tip with its number and figure, and the scale."""
        rows = self.half_mm + 4
        floor = rows + ROW_MM * len(self.tips)
        yield f'<path d="M0 {-self.half_mm - 2}V{floor}" stroke-width="0.2"/>'
        yield _text(f"barrel {millimetres(self.barrel_mm)}", -BEFORE_MM / 2, rows + 0.4, "middle")
        if self.wanted_mm is not None:
            height = -self.half_mm - 6.5
            at = self.x(self.wanted_mm)
            yield f'<path d="M{at} {height}V{floor}" stroke-dasharray="1.2 1" stroke-width="0.4"/>'
            yield _text(f"wanted {millimetres(self.wanted_mm)}", at + 1, height + 1.5)
        for row, tip in enumerate(self.tips, start=1):
            height, at = rows + ROW_MM * row - 2, self.x(tip.past_mm or 0.0)
            inside = self._room(tip)
            words_at = at - 1 if inside else max(at, self.wanted_mm or 0.0, 0.0) + 2
            yield f'<path d="M0 {height}H{at:.2f}M{at:.2f} {tip.off_mm:.2f}V{height + 1}" stroke-width="0.25"/>'
            cut = ", cut" if (tip.past_mm or 0.0) > AFTER_MM else ""
            words = f"{tip.number}: {tip.words}{cut}"
            yield _text(words, words_at, height + (-0.8 if inside else 1.1), "end" if inside else "start")
        bar = floor + 3
        yield f'<path d="M{self.left + 2} {bar - 1}v2m0 -1h{BAR_MM}m0 -1v2" stroke-width="0.4"/>'
        yield _text(f"{BAR_MM:g} mm, both ways", self.left + BAR_MM + 4, bar + 1.1)


_SEALED = 'fill="currentColor" fill-opacity="0.45"'


def _rect(left: float, top: float, width: float, height: float, more: str = "") -> str:
    return f'<rect x="{left:.2f}" y="{top:.2f}" width="{width:.2f}" height="{height:.2f}" {more}/>'


def _text(words: str, at: float, height: float, anchor: str = "start") -> str:
    return (
        f'<text x="{at:.2f}" y="{height:.2f}" text-anchor="{anchor}" fill="currentColor" stroke="none">'
        f"{escape(words)}</text>"
    )
