"""Parts of the catalogue as a whole set-up, and how one part goes with a barrel.

Rows come with their dimensions (`Part.objects.with_dimensions()`); a base is asked for its ports, so prefetch
`base__ports` where there are many.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product
from typing import Any

from instruments import mounting as values
from instruments.fit import WORST_FIRST, Fit, Judgement, Measure, all_of, measured, not_measured
from instruments.joints import Adapter, Telescope
from instruments.models import Part, PartKind
from instruments.mounting import Implant, Mounting, Port, Pusher, Seal, Shaft, Tube
from instruments.reads.measures import bore_of, shaft_of
from instruments.rulings import COUPLING, Limits, judge, rulings
from journal.reads import policy

PASSED = (PartKind.TELESCOPE, PartKind.FORCEPS, PartKind.SUCTION, PartKind.BARREL)  # what is asked for as a shaft
REACHING = (PartKind.TELESCOPE, PartKind.FORCEPS)  # what must come out at the tip

TO_TRY = ((PartKind.TELESCOPE, Fit.FITS), (PartKind.IMPLANT, Fit.FITS), (PartKind.TELESCOPE, Fit.DOES_NOT_FIT))
"""What a first look at the rules of fit is shown, where the catalogue has it."""
MOST_TRIES = 300


@dataclass(frozen=True, slots=True)
class Example:
    """A part with a barrel, on its base where the catalogue has one that couples, and how they go together."""

    part: Part
    barrel: Part
    base: Part | None
    fit: Fit


def fit_limits() -> Limits:
    """Running gap and wanted reach by the unit's policies."""
    return Limits(float(policy("running_gap_mm")), float(policy("reach_past_tip_mm")))


def adapters_at_hand() -> tuple[Adapter, ...]:
    """Every adapter of the catalogue."""
    parts = Part.objects.with_dimensions().filter(kind=PartKind.ADAPTER, adapter__isnull=False)
    return tuple(Adapter(part.name, (part.adapter.coupling_a, part.adapter.coupling_b)) for part in parts)


def mounting_of(
    barrel: Part,
    *,
    base: Part | None = None,
    seals: Mapping[str, Part] | None = None,
    shafts: Sequence[tuple[Part, str]] = (),
    sheath: Part | None = None,
    loader: Part | None = None,
    pusher: Part | None = None,
    implant: Part | None = None,
    adapters: Sequence[Adapter] = (),
) -> Mounting:
    """Parts put together, for `instruments.rulings`; asks the database only for the ports of the base.

    Args:
        barrel: a barrel, or a sheath or loader alone.
        base: what it couples to.
        seals: by the name of the port that each closes.
        shafts: each with the name of its port; an empty name is the port on the axis.
        sheath: through or over the barrel.
        loader: folds the implant.
        pusher: pushes it out.
        implant: what is delivered.
        adapters: what is at hand.

    Raises:
        ValueError: more than six at once, or a port that the base does not have.
    """
    mounted = base_of(base) if base else None
    axis = next((port.name for port in mounted.ports if port.on_axis), "") if mounted else ""
    return Mounting(
        tube_of(barrel),
        base=mounted,
        seals=tuple((port, seal_of(part)) for port, part in (seals or {}).items()),
        shafts=tuple(shaft_in(part, port or axis) for part, port in shafts),
        adapters=tuple(adapters),
        sheath=tube_of(sheath) if sheath else None,
        loader=tube_of(loader) if loader else None,
        pusher=_pusher(pusher) if pusher else None,
        implant=_implant(implant) if implant else None,
    )


def judge_with_barrel(
    part: Part, barrel: Part, limits: Limits, *, base: Part | None = None, adapters: Sequence[Adapter] = ()
) -> Judgement:
    """How one part goes with a barrel, with nothing else in it: the verdict that a substitute is offered with.

    A telescope, forceps or other shaft must pass the bore, and a telescope or forceps come out at the tip; a
    sheath is of its size, goes through or over it and does not protrude; loader, pusher and implant go with it as
    with a sheath; a base couples to it. A seal has to do with a barrel only through a base: it closes one of its
    ports. Without a base, reach is that past the barrel alone, a long sheath and a seal are not measured. What no
    rule asks about (a lead, a container) fits, without a finding.

    Args:
        part: the part in question.
        barrel: the barrel; both with their dimensions.
        limits: what the unit asks for (`fit_limits`).
        base: the base that is used with it.
        adapters: what is at hand (`adapters_at_hand`); asked only of a base.
    """
    match part.kind:
        case PartKind.SEAL:
            return _judge_seal(part, barrel, limits, base)
        case PartKind.BASE:
            return judge(mounting_of(barrel, base=part, adapters=adapters), limits)

    def if_it_is(kind: PartKind) -> Part | None:
        return part if part.kind == kind else None

    alone = mounting_of(
        barrel,
        base=base,
        shafts=[(part, "")] if part.kind in PASSED else (),
        sheath=if_it_is(PartKind.SHEATH),
        loader=if_it_is(PartKind.LOADER),
        pusher=if_it_is(PartKind.PUSHER),
        implant=if_it_is(PartKind.IMPLANT),
    )
    return _but_the_base(alone, limits)


def examples(limits: Limits) -> Iterator[Example]:
    """Set-ups of the catalogue to begin with: the first found for each of `TO_TRY` among so many tried.

    Args:
        limits: what the unit asks for (`fit_limits`).
    """
    asked = {PartKind.BARREL, PartKind.BASE, *(kind for kind, _ in TO_TRY)}
    rows = Part.objects.with_dimensions().filter(kind__in=asked).prefetch_related("base__ports")
    parts = list(rows.order_by("code"))
    barrels, bases = _of(parts, PartKind.BARREL), _of(parts, PartKind.BASE)
    mounted = [
        (barrel, next((base for base in bases if judge_with_barrel(base, barrel, limits).fit is Fit.FITS), None))
        for barrel in barrels
    ]
    for kind, fit in TO_TRY:
        tries = islice(product(_of(parts, kind), mounted), MOST_TRIES)
        found = (
            Example(part, barrel, base, fit)
            for part, (barrel, base) in tries
            if judge_with_barrel(part, barrel, limits, base=base).fit is fit
        )
        yield from islice(found, 1)


def _of(parts: Sequence[Part], kind: PartKind) -> list[Part]:
    return [part for part in parts if part.kind == kind]


def _but_the_base(mounting: Mounting, limits: Limits) -> Judgement:
    """All but whether the base couples, which is asked of the base."""
    found = rulings(mounting, limits)
    return all_of(ruling.judgement for ruling in found if ruling.rule is not COUPLING)


def _judge_seal(part: Part, barrel: Part, limits: Limits, base: Part | None) -> Judgement:
    """On the port of the base that suits it best."""
    if base is None:
        return not_measured(
            "seal-fitting", f"{part.name} with {barrel.name}", [Measure("the base between them", None)]
        )
    seal, mounted = seal_of(part), base_of(base)
    tries = [Mounting(tube_of(barrel), base=mounted, seals=((port.name, seal),)) for port in mounted.ports]
    found = [_but_the_base(attempt, limits) for attempt in tries]
    nowhere = not_measured("seal-fitting", f"{part.name} on {base.name}", [Measure("its ports", None)])
    return max(found, key=lambda judgement: WORST_FIRST.index(judgement.fit), default=nowhere)


def tube_of(part: Part) -> Tube:
    """A barrel, sheath or loader as the rules see it."""
    row = _row(part)
    return Tube(
        part.name,
        bore_of(part).size,
        shaft_of(part).size,
        measured(getattr(row, "length_mm", None)),
        size=str(part.size or ""),
        coupling=getattr(row, "coupling", ""),
        side_ports=getattr(row, "side_ports", False),
    )


def base_of(part: Part) -> values.Base:
    """A base with its ports, the port on the axis first."""
    row = _row(part)
    if row is None:
        return values.Base(part.name, "")
    ports = sorted(row.ports.all(), key=lambda port: (not port.on_axis, port.name))
    return values.Base(
        part.name,
        row.coupling,
        tuple(
            Port(
                port.name,
                port.fitting,
                measured(port.bore_mm, port.bore_tol),
                measured(row.stack_mm if port.on_axis else port.way_mm),
                port.on_axis,
            )
            for port in ports
        ),
    )


def seal_of(part: Part) -> Seal:
    """A seal as the rules see it."""
    row = _row(part)
    if row is None:
        return Seal(part.name, "", 0, None, None)
    return Seal(
        part.name, row.fitting, row.openings, measured(row.opening_mm, row.opening_tol), measured(row.thickness_mm)
    )


def shaft_in(part: Part, port: str) -> Shaft:
    """What passes a port, with what of it a telescope or an optical forceps must match."""
    row = _row(part)
    scope = made_for = None
    if row and part.kind == PartKind.TELESCOPE:
        scope = Telescope(part.name, measured(row.shaft_mm), measured(row.length_mm), row.view_deg, row.lock)
    if row and part.kind == PartKind.FORCEPS and row.optical:
        made_for = Telescope(
            part.name, measured(row.telescope_mm), measured(row.telescope_length_mm), row.view_deg, row.lock
        )
    return Shaft(
        part.name,
        shaft_of(part).size,
        measured(getattr(row, "length_mm", None)),
        port,
        must_reach=part.kind in REACHING,
        scope=scope,
        made_for=made_for,
    )


def _pusher(part: Part) -> Pusher:
    row = _row(part)
    past = getattr(row, "past_tip_mm", None)
    length = measured(getattr(row, "length_mm", None))
    return Pusher(part.name, shaft_of(part).size, length, None if past is None else float(past))


def _implant(part: Part) -> Implant:
    return Implant(part.name, shaft_of(part).size, measured(getattr(_row(part), "length_mm", None)))


def _row(part: Part) -> Any:
    """The typed dimensions of a part; None = nobody entered any."""
    return getattr(part, part.kind, None)
