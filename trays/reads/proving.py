"""The proof of a template's version: what of the catalogue, the pieces and the rules of fit it asks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import product

from django.db.models import Q

from instruments.fit import Judgement
from instruments.joints import Adapter
from instruments.models import Part, PartKind, Piece
from instruments.mounting import paired
from instruments.reads import fit_limits, judge_with_barrel
from instruments.reads.mountings import shaft_in
from instruments.rulings import Limits
from instruments.states import PieceState
from journal.findings import Finding
from trays.models import Substitute, TemplateLine, TemplateVersion
from trays.proving import KnownPart, nearest, prove
from trays.reads.templates import size_of, sterilising_programmes, wanted

BY_BARREL = frozenset({PartKind.SEAL, PartKind.TELESCOPE, PartKind.FORCEPS, PartKind.SUCTION})
DELIVERING = frozenset({PartKind.LOADER, PartKind.PUSHER, PartKind.IMPLANT})


def proof_of(version: TemplateVersion) -> tuple[Finding, ...]:
    """Everything that speaks against putting a version's list in force."""
    listed = wanted(version)
    named = Q(pk__in=TemplateLine.objects.filter(version=version).values("part"))
    named |= Q(pk__in=Substitute.objects.filter(line__version=version).values("part"))
    parts = list(Part.objects.with_dimensions().filter(named).prefetch_related("base__ports"))
    programmes = sterilising_programmes(part.pk for part in parts)
    in_hand = Piece.objects.filter(part__in=parts).exclude(state=PieceState.WITHDRAWN)
    owned = Counter(in_hand.values_list("part", flat=True))
    series = version.series_rules.values("series")
    made = Part.objects.filter(size__series__in=series).select_related("size__series")
    own = {line.part_code for line in listed.lines}
    return prove(
        listed,
        {part.code: _known(part, programmes.get(part.pk, ()), owned[part.pk]) for part in parts},
        {(part.kind, size) for part in made if (size := size_of(part))},
        version.template.trays.filter(in_service=True).count(),
        tuple(_fit([part for part in parts if part.code in own])),
    )


def _known(part: Part, programmes: Iterable[str], owned: int) -> KnownPart:
    return KnownPart(
        part.code,
        part.name,
        part.kind,
        size_of(part),
        None if part.mass_g is None else float(part.mass_g),
        frozenset(programmes),
        owned,
    )


def _fit(parts: Sequence[Part]) -> Iterator[Finding]:
    """Each part of a list with what it needs of the same list: a barrel, a base, a sheath, a telescope.

    Where the list has nothing of what it needs, nothing is asked: a tray may serve another tray.
    """
    limits = fit_limits()
    adapters = [
        Adapter(part.name, (part.adapter.coupling_a, part.adapter.coupling_b))
        for part in _of(parts, PartKind.ADAPTER)
        if hasattr(part, "adapter")
    ]
    for part in parts:
        if found := nearest(part.name, _tries(part, parts, limits, adapters)):
            yield found
        if part.kind == PartKind.FORCEPS and (carrier := shaft_in(part, "")).made_for:
            telescopes = [shaft_in(other, "") for other in _of(parts, PartKind.TELESCOPE)]
            if found := nearest(part.name, ((other.name, paired(carrier, other)) for other in telescopes)):
                yield found


def _tries(
    part: Part, parts: Sequence[Part], limits: Limits, adapters: Sequence[Adapter]
) -> Iterator[tuple[str, Judgement]]:
    """How a part goes with each thing of the list that could serve it, one by one."""
    barrels, bases = _of(parts, PartKind.BARREL), _of(parts, PartKind.BASE)
    through: list[Part | None] = [*bases] or [None]
    if part.kind == PartKind.BARREL:
        for base in bases:
            yield base.name, judge_with_barrel(base, part, limits, adapters=adapters)
    elif part.kind == PartKind.SHEATH:
        own = [barrel for barrel in barrels if barrel.size_id == part.size_id]
        for barrel, way in product(own, through):
            yield barrel.name, judge_with_barrel(part, barrel, limits, base=way)
    elif part.kind in BY_BARREL:
        for barrel, way in product(barrels, through):
            yield barrel.name, judge_with_barrel(part, barrel, limits, base=way)
    elif part.kind in DELIVERING:
        for tube in _of(parts, PartKind.SHEATH) or barrels:
            yield tube.name, judge_with_barrel(part, tube, limits)


def _of(parts: Iterable[Part], kind: PartKind) -> list[Part]:
    return [part for part in parts if part.kind == kind]
