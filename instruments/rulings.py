"""A whole set-up judged by every rule of fit at once, each rule in words.

The arithmetic of each rule is in `fit` and `joints`; here stands which rule is asked of what. A dimension that
nobody measured gives "not measured", never a default. Docs: docs/algorithms/fit.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from operator import attrgetter

from instruments.fit import Fit, Judgement, Measure, all_of, not_measured, pass_together, passes_through
from instruments.joints import (
    couples,
    hands_over,
    port_serves,
    reaches_past,
    same_size,
    seal_closes,
    seal_serves,
    stays_within,
    takes_implant,
)
from instruments.mounting import Mounting, paired, widths


@dataclass(frozen=True, slots=True)
class Limits:
    """What the unit asks for.

    Args:
        gap_mm: running gap between any two surfaces [mm], from 0.
        wanted_mm: how far a telescope or forceps must pass the barrel's tip [mm]; None = not stated.

    Raises:
        ValueError: the gap is below 0 or not finite, or the reach is not finite.
    """

    gap_mm: float
    wanted_mm: float | None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gap_mm) and self.gap_mm >= 0):
            raise ValueError(f"Cannot judge with a gap of {self.gap_mm} mm: it must be finite and from 0.")
        if self.wanted_mm is not None and not math.isfinite(self.wanted_mm):
            raise ValueError(f"Cannot judge with a reach of {self.wanted_mm} mm: it must be finite.")


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of fit in words: what it is called, and what must hold."""

    title: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Ruling:
    """What a rule says of a mounting."""

    rule: Rule
    judgement: Judgement


IN_BARREL = Rule(
    "In the barrel at once",
    "The smallest circle round everything in the barrel, with the running gap between any two surfaces and to the "
    "wall, is at most the bore. An optical forceps and its telescope count once, as its greatest width.",
)
IN_SHEATH = Rule(
    "In the sheath at once",
    "The smallest circle round everything in the sheath, with the running gap everywhere, is at most its bore.",
)
OVER = Rule("Sheath over the barrel", "The barrel's outer diameter and a gap on either side are at most its bore.")
OWN_SIZE = Rule("Sheath of the barrel's size", "A sheath and a barrel that belong to series are of the same size.")
WITHIN = Rule("Sheath ends inside", "From its collar, a sheath never protrudes past the tip of its barrel.")
COUPLING = Rule("Base and barrel", "Couplings match by their standard name, or one adapter bridges them.")
FITTING = Rule("Seal on its port", "A port takes a seal of its own fitting.")
OPENINGS = Rule(
    "Openings of the seal", "There is an opening for each shaft, and the shaft is no wider than the opening."
)
PORT = Rule("Bore of the port", "What passes a port at once keeps the running gap between any two surfaces.")
REACH = Rule(
    "Reach past the tip",
    "Through seal, base and barrel a telescope or forceps comes out at the tip by the wanted amount.",
)
OPTICAL = Rule(
    "Optical forceps and telescope", "Diameter, length, direction of view and lock of the telescope match the forceps."
)
FOLDED = Rule("Implant compressed", "The compressed implant is no wider than the bore of loader, sheath or barrel.")
STEP = Rule("Loader to tube", "The loader's bore is no wider than that of the tube it hands the implant to.")
INSIDE = Rule("Implant's length", "The compressed implant is no longer than the tube that carries it.")
PUSHED = Rule("Pusher past the tip", "A pusher reaches past the tip of its tube by the amount stated for it.")
RULES = (
    IN_BARREL, IN_SHEATH, OVER, OWN_SIZE, WITHIN, COUPLING, FITTING, OPENINGS, PORT, REACH, OPTICAL,
    FOLDED, STEP, INSIDE, PUSHED,
)  # fmt: skip


def rulings(mounting: Mounting, limits: Limits) -> tuple[Ruling, ...]:
    """What every rule that has something to ask says of a mounting, in the order of `RULES`.

    Args:
        mounting: what is put together.
        limits: what the unit asks for.

    Returns:
        The rulings; none where there is nothing to ask. A rule appears once for each port or shaft it asks.
    """
    gap_mm = limits.gap_mm
    asked = [
        *_lumens(mounting, gap_mm),
        *_sheath(mounting, gap_mm),
        *_ports(mounting, gap_mm),
        *(
            Ruling(REACH, reaches_past(Measure(shaft.name, shaft.length), mounting.way(shaft.port), limits.wanted_mm))
            for shaft in mounting.apart
            if shaft.must_reach
        ),
        *(Ruling(OPTICAL, paired(*pair)) for pair in mounting.pairs),
        *_delivery(mounting),
    ]
    return tuple(sorted(asked, key=lambda ruling: RULES.index(ruling.rule)))


def judge(mounting: Mounting, limits: Limits) -> Judgement:
    """All rulings as one: the worst verdict, every finding.

    Args:
        mounting: what is put together.
        limits: what the unit asks for.
    """
    return all_of(map(attrgetter("judgement"), rulings(mounting, limits)))


def _lumens(m: Mounting, gap_mm: float) -> Iterator[Ruling]:
    for tube, contents in m.lumens:
        rule = IN_BARREL if tube is m.barrel else IN_SHEATH
        yield Ruling(rule, pass_together(Measure(tube.name, tube.bore), contents, gap_mm))


def _sheath(m: Mounting, gap_mm: float) -> Iterator[Ruling]:
    if not m.sheath:
        return
    if not m.through:
        outer = Measure(m.barrel.name, m.barrel.outer)
        yield Ruling(OVER, passes_through(Measure(m.sheath.name, m.sheath.bore), outer, gap_mm))
    if m.sheath.size and m.barrel.size:
        yield Ruling(OWN_SIZE, same_size((m.sheath.name, m.sheath.size), (m.barrel.name, m.barrel.size)))
    yield Ruling(WITHIN, _ends_inside(m, Measure(m.sheath.name, m.sheath.length)))


def _ends_inside(m: Mounting, sheath: Measure) -> Judgement:
    """A sheath in the barrel starts at the base's face; without a base that is known only of a short one."""
    barrel = Measure(m.barrel.name, m.barrel.length)
    if m.base and m.through:
        return stays_within(sheath, (barrel, Measure(m.port_words(m.axis), m.port(m.axis).way)))
    alone = stays_within(sheath, (barrel,))
    if not m.through or alone.fit in (Fit.FITS, Fit.NOT_MEASURED):
        return alone
    missing = Measure("the base, which adds to the way,", None)
    question = f"whether {sheath.name} stays within {barrel.name}"
    return not_measured("protrusion", question, [missing], "Choose the base.")


def _ports(m: Mounting, gap_mm: float) -> Iterator[Ruling]:
    if not m.base:
        return
    yield Ruling(COUPLING, couples((m.base.name, m.base.coupling), (m.barrel.name, m.barrel.coupling), m.adapters))
    pusher = [Measure(m.pusher.name, m.pusher.width)] if m.pusher else []
    for name in dict.fromkeys([*(port.name for port in m.base.ports), *(shaft.port for shaft in m.shafts), m.axis]):
        port, seal, words = m.port(name), m.seal(name), m.port_words(name)
        shafts = [*widths(shaft for shaft in m.apart if shaft.port == name), *(pusher if name == m.axis else [])]
        if seal:
            yield Ruling(FITTING, seal_closes(words, port.fitting, seal.name, seal.fitting))
            yield Ruling(OPENINGS, seal_serves(Measure(seal.name, seal.opening), seal.openings, shafts))
        if m.sheath and m.through and name == m.axis:
            shafts = [Measure(m.sheath.name, m.sheath.outer)]
        if shafts:
            yield Ruling(PORT, port_serves(Measure(words, port.bore), shafts, gap_mm))


def _delivery(m: Mounting) -> Iterator[Ruling]:
    tube = Measure(m.channel.name, m.channel.bore)
    loader = Measure(m.loader.name, m.loader.bore) if m.loader else None
    if m.implant:
        folded = Measure(m.implant.name, m.implant.width)
        taking = [takes_implant(bore, folded) for bore in (loader, tube) if bore]
        yield Ruling(FOLDED, all_of(taking))
        length = Measure(m.channel.name, m.channel.length)
        yield Ruling(INSIDE, stays_within(Measure(m.implant.name, m.implant.length), (length,)))
    if loader:
        yield Ruling(STEP, hands_over(loader, tube))
    if m.pusher:
        way, seal = m.way(m.axis), m.seal(m.axis)
        if m.sheath and m.through:
            capped = [Measure(seal.name, seal.thickness)] if seal else []
            way = (Measure(m.sheath.name, m.sheath.length), *capped)
        yield Ruling(PUSHED, reaches_past(Measure(m.pusher.name, m.pusher.length), way, m.pusher.past_tip_mm))
