"""A whole set-up as plain values: what is mounted on a barrel and passed through it. Judged by `rulings`.

A sheath in the barrel goes in by the port on the axis, its collar on the base's face and under the seal, and so do
the shafts inside it; what comes by another port runs beside it. A dimension that nobody measured is None.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from instruments.fit import MOST_SHAFTS, WORST_FIRST, Dimension, Judgement, Measure
from instruments.joints import Adapter, Telescope, carries


@dataclass(frozen=True, slots=True)
class Tube:
    """A barrel, sheath or loader.

    Args:
        name: as a person would name it.
        bore: inner diameter.
        outer: outer diameter.
        length: from coupling or collar to tip.
        size: step of its series ("ADULT 8.0"); empty = of no series.
        coupling: standard name of its coupling; empty = not recorded.
        side_ports: it has openings near its tip.
    """

    name: str
    bore: Dimension | None
    outer: Dimension | None = None
    length: Dimension | None = None
    size: str = ""
    coupling: str = ""
    side_ports: bool = False


@dataclass(frozen=True, slots=True)
class Port:
    """A port of a base.

    Args:
        name: unique in its base ("axis").
        fitting: what its seal must have; empty = not recorded.
        bore: inner diameter.
        way: length from the port's face to the barrel's coupling.
        on_axis: in line with the barrel.
    """

    name: str
    fitting: str = ""
    bore: Dimension | None = None
    way: Dimension | None = None
    on_axis: bool = False


@dataclass(frozen=True, slots=True)
class Base:
    """What the barrel couples to."""

    name: str
    coupling: str
    ports: tuple[Port, ...] = ()


@dataclass(frozen=True, slots=True)
class Seal:
    """The cap that closes a port: its fitting, its openings in number and width, its thickness on the way."""

    name: str
    fitting: str
    openings: int
    opening: Dimension | None
    thickness: Dimension | None


@dataclass(frozen=True, slots=True)
class Shaft:
    """What is passed along the barrel.

    Args:
        name: as a person would name it.
        width: outer diameter, or greatest insertion width with closed jaws.
        length: working length.
        port: name of the port it passes; empty = none recorded.
        must_reach: its tip must pass the barrel's (telescope, forceps).
        scope: what of a telescope an optical forceps must match; None = no telescope.
        made_for: the telescope that an optical forceps takes; None = no optical forceps.
    """

    name: str
    width: Dimension | None
    length: Dimension | None
    port: str = ""
    must_reach: bool = False
    scope: Telescope | None = None
    made_for: Telescope | None = None


@dataclass(frozen=True, slots=True)
class Pusher:
    """Pushes an implant out; past_tip_mm = how far it must pass the tip of its tube [mm], None = not stated."""

    name: str
    width: Dimension | None
    length: Dimension | None
    past_tip_mm: float | None


@dataclass(frozen=True, slots=True)
class Implant:
    """An implant as it is delivered: its diameter when compressed, and its length."""

    name: str
    width: Dimension | None
    length: Dimension | None


@dataclass(frozen=True, slots=True)
class Mounting:
    """A barrel with everything that is on it and in it at once.

    Args:
        barrel: the barrel; a sheath or a loader alone is judged in the same way.
        base: what it couples to; None = the barrel by itself.
        seals: which port carries which seal; a port not named is open.
        shafts: in order; an optical forceps and the telescope in it are both named.
        adapters: what is at hand to bridge two couplings.
        sheath: through the barrel, or over it.
        loader: folds the implant.
        pusher: pushes the implant out.
        implant: what is delivered.

    Raises:
        ValueError: more than six at once, sheath and pusher counted; a port that the base does not have, or
            with two seals.
    """

    barrel: Tube
    base: Base | None = None
    seals: tuple[tuple[str, Seal], ...] = ()
    shafts: tuple[Shaft, ...] = ()
    adapters: tuple[Adapter, ...] = ()
    sheath: Tube | None = None
    loader: Tube | None = None
    pusher: Pusher | None = None
    implant: Implant | None = None

    def __post_init__(self) -> None:
        count = len(self.shafts) + (self.sheath is not None) + (self.pusher is not None)
        if count > MOST_SHAFTS:
            raise ValueError(f"Cannot judge {count} at once: it must be at most {MOST_SHAFTS}. Take some away.")
        sealed = [name for name, _ in self.seals]
        known = [port.name for port in self.base.ports] if self.base else []
        for name in {*sealed, *(shaft.port for shaft in self.shafts if shaft.port)}:
            if name not in known or sealed.count(name) > 1:
                raise ValueError(
                    f"Cannot use port {name}: it must be a port of the base, with one seal at most. Choose another."
                )

    @property
    def through(self) -> bool:
        """Whether there is a sheath in the barrel: one whose bore is wider than the barrel's goes over it."""
        if self.sheath is None:
            return False
        within, without = self.sheath.bore, self.barrel.bore
        return within is None or without is None or within.nominal_mm <= without.nominal_mm

    @property
    def channel(self) -> Tube:
        """The tube in which the shafts of the axis run: the sheath in the barrel, else the barrel."""
        return self.sheath if self.sheath and self.through else self.barrel

    @property
    def lumens(self) -> tuple[tuple[Tube, tuple[Measure, ...]], ...]:
        """Each tube with what lies side by side in it: the barrel first, then a sheath in it; empty ones left out."""
        pusher = [Measure(self.pusher.name, self.pusher.width)] if self.pusher else []
        if not (self.sheath and self.through):
            found = [(self.barrel, (*widths(self.apart), *pusher))]
        else:
            beside = widths(shaft for shaft in self.apart if not self.on_axis(shaft))
            inside = widths(shaft for shaft in self.apart if self.on_axis(shaft))
            sheath = Measure(self.sheath.name, self.sheath.outer)
            found = [(self.barrel, (sheath, *beside)), (self.sheath, (*inside, *pusher))]
        return tuple((tube, contents) for tube, contents in found if contents)

    @property
    def pairs(self) -> tuple[tuple[Shaft, Shaft], ...]:
        """Each optical forceps with the telescope that it carries: of those through its port, what matches best."""
        free = [shaft for shaft in self.shafts if shaft.scope]
        found = []
        for forceps in (shaft for shaft in self.shafts if shaft.made_for):
            near = [shaft for shaft in free if shaft.port == forceps.port]
            if near:
                best = max(near, key=lambda shaft: WORST_FIRST.index(paired(forceps, shaft).fit))
                free.remove(best)
                found.append((forceps, best))
        return tuple(found)

    @property
    def apart(self) -> tuple[Shaft, ...]:
        """Shafts that lie side by side: all but the telescopes that an optical forceps carries."""
        carried = [telescope for _, telescope in self.pairs]
        return tuple(shaft for shaft in self.shafts if not any(shaft is other for other in carried))

    def port(self, name: str) -> Port:
        """The port of this name; of no name, one of which nothing is recorded."""
        ports = self.base.ports if self.base else ()
        return next((port for port in ports if port.name == name), Port(name))

    def port_words(self, name: str) -> str:
        """A port as a person would name it."""
        return f"{self.base.name if self.base else 'no base'}, {f'{name} port' if name else 'port not recorded'}"

    def seal(self, port: str) -> Seal | None:
        """The seal on a port; None = the port is open."""
        return next((seal for name, seal in self.seals if name == port), None)

    @property
    def axis(self) -> str:
        """Name of the port on the axis; empty = none recorded."""
        ports = self.base.ports if self.base else ()
        return next((port.name for port in ports if port.on_axis), "")

    def on_axis(self, shaft: Shaft) -> bool:
        """Whether a shaft goes in line with the barrel, and so through a sheath that is in it."""
        return shaft.port == self.axis

    def way(self, port: str) -> tuple[Measure, ...]:
        """What lies one behind the other from a port's seal to the barrel's tip, the barrel first."""
        lengths = [Measure(self.barrel.name, self.barrel.length)]
        if self.base:
            lengths.append(Measure(self.port_words(port), self.port(port).way))
        seal = self.seal(port)
        return (*lengths, *([Measure(seal.name, seal.thickness)] if seal else []))


def paired(forceps: Shaft, telescope: Shaft) -> Judgement:
    """Whether an optical forceps takes a telescope.

    Args:
        forceps: an optical forceps.
        telescope: a telescope.

    Raises:
        ValueError: it is no optical forceps, or no telescope.
    """
    if forceps.made_for is None or telescope.scope is None:
        raise ValueError(f"Cannot pair {forceps.name} with {telescope.name}: one must carry the other.")
    return carries(forceps.made_for, telescope.scope)


def widths(shafts: Iterable[Shaft]) -> list[Measure]:
    """What each shaft takes up in a bore."""
    return [Measure(shaft.name, shaft.width) for shaft in shafts]
