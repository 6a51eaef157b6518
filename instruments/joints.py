"""Do parts work on each other: reach, ports and seals, couplings, optical forceps, delivery of an implant.

Lengths are measured along the axis from the seal's outer face to the distal tip. Names of fittings, couplings
and locks are compared as the catalogue writes them, without regard to case and outer blanks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from instruments.fit import (
    Dimension,
    Fit,
    Judgement,
    Measure,
    all_of,
    judged,
    not_measured,
    pass_together,
    passes_through,
    verdict,
)
from instruments.gauge import millimetres

Named = tuple[str, str]  # a thing as a person would name it, and the standard name that it carries

SAME_WIDTH_MM = 0.05  # catalogue widths are given to 0.1 mm: common practice, no source
SAME_LENGTH_MM = 0.5  # catalogue lengths are given to 1 mm: common practice, no source


@dataclass(frozen=True, slots=True)
class Adapter:
    """A part that bridges two couplings."""

    name: str
    ends: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Telescope:
    """What of a telescope an optical forceps must match; an empty lock and None are "not recorded"."""

    name: str
    width: Dimension | None
    length: Dimension | None
    view_deg: int | None
    lock: str


def reaches_past(tool: Measure, way: Sequence[Measure], wanted_mm: float | None) -> Judgement:
    """Whether a tool reaches past the end of its way by the wanted amount.

    For a telescope or forceps the way is the barrel, the stack that the base adds and the seal; for a
    pusher it is the sheath. Tolerances of all of them add up.

    Args:
        tool: working length of the tool.
        way: lengths that lie one behind the other.
        wanted_mm: how far past the end it must reach [mm]; None = not stated.
    """
    where = _joined(way)
    wanted = Measure(f"the wanted reach of {tool.name}", None)
    margin = _margin((tool,), way)
    if margin is None or wanted_mm is None:
        asked = (tool, *way) if wanted_mm is not None else (tool, *way, wanted)
        return not_measured("reach", f"how far {tool.name} reaches past {where}", asked)
    past_mm, spread_mm = margin
    past = millimetres(past_mm, spread_mm)
    return judged(
        verdict(past_mm - spread_mm - wanted_mm, past_mm + spread_mm - wanted_mm),
        slug="reach",
        subject=tool.name,
        claim=f"{tool.name} reaches past {where}",
        refusal=f"Cannot reach past {where} with {tool.name}",
        condition=f"its tip is {past} past the end, must be {millimetres(wanted_mm)} or more",
        remedy="Choose a longer one, or a shorter way.",
        numbers={"past_end_mm": past_mm, "wanted_mm": wanted_mm, "tolerance_mm": spread_mm},
    )


def past_end_mm(tool: Measure, way: Sequence[Measure]) -> float | None:
    """How far a tool's tip is past the end of its way, at nominal lengths [mm]; None = not measured.

    Args:
        tool: length of the tool.
        way: lengths that lie one behind the other.
    """
    margin = _margin((tool,), way)
    return margin[0] if margin else None


def stays_within(sheath: Measure, way: Sequence[Measure]) -> Judgement:
    """Whether a sheath ends inside its way: it never protrudes past the distal tip of its own barrel.

    Args:
        sheath: length of the sheath.
        way: lengths that lie one behind the other: the barrel, and what of base and seal comes before it.
    """
    where = _joined(way)
    margin = _margin(way, (sheath,))
    if margin is None:
        return not_measured("protrusion", f"whether {sheath.name} stays within {where}", (sheath, *way))
    before_mm, spread_mm = margin
    return judged(
        verdict(before_mm - spread_mm, before_mm + spread_mm),
        slug="protrusion",
        subject=sheath.name,
        claim=f"{sheath.name} stays within {where}",
        refusal=f"Cannot use {sheath.name} in {where}",
        condition=f"its tip is {millimetres(before_mm, spread_mm)} before the end, must be {millimetres(0)} or more",
        remedy="Take the sheath of this barrel's size.",
        numbers={"before_end_mm": before_mm, "tolerance_mm": spread_mm},
    )


def seal_closes(port: str, port_fitting: str, seal: str, seal_fitting: str) -> Judgement:
    """Whether a seal is of the fitting that a port takes.

    Args:
        port: the port as a person would name it.
        port_fitting: fitting that it takes.
        seal: the seal as a person would name it.
        seal_fitting: fitting that it has.
    """
    return _same_name("seal-fitting", "fitting", (seal, seal_fitting), (port, port_fitting))


def seal_serves(seal: Measure, openings: int, shafts: Sequence[Measure]) -> Judgement:
    """Whether a seal's openings, in number and width, serve the shafts that go through its port.

    One opening takes one shaft, without a gap, for it is there to close round it. That it does close, and
    does not tear, is a matter of its condition and is not asked here.

    Args:
        seal: the seal, and the width of each opening.
        openings: how many it has.
        shafts: what goes through the port at once; may be empty.
    """
    enough = judged(
        Fit.FITS if len(shafts) <= openings else Fit.DOES_NOT_FIT,
        slug="seal-openings",
        subject=seal.name,
        claim=f"{seal.name} has an opening for each shaft",
        refusal=f"Cannot pass {len(shafts)} shafts through {seal.name}",
        condition=f"its number of openings is {openings}, must be at least {len(shafts)}",
        remedy="Choose a seal with more openings.",
        numbers={"openings": openings, "shafts": len(shafts)},
    )
    return all_of([enough, *(passes_through(seal, shaft, 0.0) for shaft in shafts)])


def port_serves(port: Measure, shafts: Sequence[Measure], gap_mm: float) -> Judgement:
    """Whether a port's bore takes the shafts that go through it at once; a port without shafts serves.

    Args:
        port: the port and its inner diameter.
        shafts: at most six.
        gap_mm: running gap [mm], from 0.
    """
    return pass_together(port, shafts, gap_mm) if shafts else all_of(())


def couples(one: Named, other: Named, adapters: Sequence[Adapter] = ()) -> Judgement:
    """Whether two parts couple: by the same standard name, or by one adapter between them.

    Args:
        one: a part and the name of its coupling.
        other: the other part and the name of its coupling.
        adapters: what is at hand; the first that bridges is named.
    """
    ends = {_plain(one[1]), _plain(other[1])}
    bridges = [adapter for adapter in adapters if {_plain(end) for end in adapter.ends} == ends]
    if len(ends) == 1 or "" in ends or not bridges:
        return _same_name("coupling", "coupling", one, other)
    return judged(
        Fit.FITS,
        slug="coupling",
        subject=one[0],
        claim=f"{one[0]} couples to {other[0]} through {bridges[0].name}",
        refusal="",
        condition=f"the adapter bridges {one[1]} and {other[1]}",
        remedy="",
        numbers={"adapter": bridges[0].name},
    )


def carries(forceps: Telescope, telescope: Telescope) -> Judgement:
    """Whether an optical forceps takes a telescope: diameter, length, viewing direction and lock all match.

    The two then are one assembly, whose width is the forceps' greatest insertion width with closed jaws.
    Diameter and length are compared as the catalogue gives them: they name a make of telescope as much as
    they measure it.

    Args:
        forceps: the telescope that the forceps is made for, under the forceps' name.
        telescope: the telescope at hand.
    """
    there, here = forceps.name, telescope.name
    views = [f"{view}°" if view is not None else "" for view in (telescope.view_deg, forceps.view_deg)]
    return all_of(
        [
            _same_size("diameter", Measure(here, telescope.width), Measure(there, forceps.width), SAME_WIDTH_MM),
            _same_size("length", Measure(here, telescope.length), Measure(there, forceps.length), SAME_LENGTH_MM),
            _same_name("optical-view", "viewing direction", (here, views[0]), (there, views[1])),
            _same_name("optical-lock", "lock", (here, telescope.lock), (there, forceps.lock)),
        ]
    )


def takes_implant(tube: Measure, implant: Measure) -> Judgement:
    """Whether a compressed implant goes through a loader, sheath or barrel; it bears on the wall, without a gap.

    Args:
        tube: inner diameter of the tube.
        implant: its diameter when compressed.
    """
    return passes_through(tube, implant, 0.0)


def hands_over(loader: Measure, tube: Measure) -> Judgement:
    """Whether an implant slides from the loader into a tube without meeting a step.

    Args:
        loader: inner diameter of the loader.
        tube: inner diameter of the sheath or barrel that it is handed to.
    """
    if loader.size is None or tube.size is None:
        return not_measured("loader-step", f"{loader.name} with {tube.name}", (loader, tube))
    step = verdict(tube.size.low_mm - loader.size.high_mm, tube.size.high_mm - loader.size.low_mm)
    return judged(
        step,
        slug="loader-step",
        subject=loader.name,
        claim=f"{loader.name} hands over to {tube.name} without a step",
        refusal=f"Cannot hand over from {loader.name} to {tube.name}",
        condition=f"its bore is {loader.size.words}, must be at most {tube.size.words}",
        remedy="Choose a narrower loader or a wider tube.",
        numbers={"loader_bore_mm": loader.size.nominal_mm, "tube_bore_mm": tube.size.nominal_mm},
    )


def same_size(one: Named, other: Named) -> Judgement:
    """Whether a sheath is of the size of its barrel.

    Args:
        one: the sheath and its size ("ADULT 8.0").
        other: the barrel and its size.
    """
    return _same_name("sheath-size", "size", one, other)


def _margin(longer: Sequence[Measure], shorter: Sequence[Measure]) -> tuple[float, float] | None:
    """How much longer the one way is than the other, and the sum of all tolerances [mm]; None = not measured."""
    longs = [measure.size for measure in longer if measure.size]
    shorts = [measure.size for measure in shorter if measure.size]
    if len(longs) < len(longer) or len(shorts) < len(shorter):
        return None
    margin_mm = sum(size.nominal_mm for size in longs) - sum(size.nominal_mm for size in shorts)
    return margin_mm, sum(size.tolerance_mm for size in (*longs, *shorts))


def _same_name(slug: str, what: str, one: Named, other: Named) -> Judgement:
    """Whether two things carry the same standard name; a blank name is one that nobody recorded."""
    (subject, found), (partner, expected) = one, other
    if not (_plain(found) and _plain(expected)):
        blank = [Measure(f"{name} ({what})", None) for name, word in (one, other) if not _plain(word)]
        return not_measured(slug, f"{subject} with {partner}", blank)
    return judged(
        Fit.FITS if _plain(found) == _plain(expected) else Fit.DOES_NOT_FIT,
        slug=slug,
        subject=subject,
        claim=f"{subject} belongs to {partner}",
        refusal=f"Cannot use {subject} with {partner}",
        condition=f"its {what} is {found}, must be {expected}",
        remedy=f"Choose one whose {what} matches.",
        numbers={"found": found, "expected": expected},
    )


def _same_size(what: str, one: Measure, other: Measure, within_mm: float) -> Judgement:
    """Whether two catalogue figures are the same, to what the catalogue rounds to."""
    slug = f"optical-{what}"
    if one.size is None or other.size is None:
        return not_measured(slug, f"{one.name} in {other.name}", (one, other))
    found_mm, expected_mm = one.size.nominal_mm, other.size.nominal_mm
    return judged(
        Fit.FITS if abs(found_mm - expected_mm) <= within_mm else Fit.DOES_NOT_FIT,
        slug=slug,
        subject=one.name,
        claim=f"{one.name} belongs in {other.name}",
        refusal=f"Cannot use {one.name} in {other.name}",
        condition=f"its {what} is {millimetres(found_mm)}, must be {millimetres(expected_mm)}",
        remedy=f"Choose one whose {what} matches.",
        numbers={"found_mm": found_mm, "expected_mm": expected_mm},
    )


def _plain(name: str) -> str:
    return name.strip().casefold()


def _joined(way: Sequence[Measure]) -> str:
    return " + ".join(measure.name for measure in way)
