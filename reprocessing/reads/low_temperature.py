"""What of a low-temperature programme's limits stands against what is, or would be, in a load."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from instruments.models import PartKind, Piece
from journal.findings import Finding
from reprocessing.low_temperature import Lumen, LumenLimit, confirmed, light_enough, lumens_reached
from reprocessing.models import Load
from trays.models import Pack

TUBES = (PartKind.BARREL, PartKind.SHEATH, PartKind.SUCTION, PartKind.LOADER)
"""Kinds with a lumen: without a recorded one it is not measured, not absent."""


def against_low_temperature(verb: str, subject: str, load: Load, more: Collection[Pack] = ()) -> Iterator[Finding]:
    """What its programme's limits of lumens and weight say of the packs in a load, and of more that would go in."""
    programme = load.programme
    limits = [
        LumenLimit(row.material, row.least_inner_mm, row.most_length_mm, row.most_count)
        for row in programme.lumen_limits.all()
    ]
    if not limits and programme.most_load_g is None:
        return
    packs = {*load.load_packs.filter(open=True).values_list("pack", flat=True), *(pack.pk for pack in more)}
    pieces = Piece.objects.filter(carried__pack__in=packs).select_related("part").prefetch_related("part__lumens")
    rows = list(pieces.order_by("part__code", "code"))
    yield from lumens_reached(verb, subject, programme.name, [one for row in rows for one in _lumens(row)], limits)
    masses = [(row.part.name, None if row.part.mass_g is None else float(row.part.mass_g)) for row in rows]
    yield from light_enough(verb, subject, programme.name, masses, programme.most_load_g)


def _lumens(piece: Piece) -> Iterator[Lumen]:
    part = piece.part
    found = [Lumen(part.name, row.material, row.inner_mm, row.length_mm, row.count) for row in part.lumens.all()]
    yield from found or ([Lumen(part.name)] if part.kind in TUBES else [])


def against_unconfirmed(load: Load, *, dry: bool, no_cellulose: bool) -> Iterator[Finding]:
    """What its programme wants a person to have looked at before the start."""
    asked = []
    if load.programme.dry_only:
        asked.append((dry, "not-dry", "that everything is dry, inside too,", "Dry it, blow through each lumen."))
    if load.programme.no_cellulose:
        remedy = "Wrap what is in paper or cotton anew, in a material that the steriliser's maker names."
        asked.append((no_cellulose, "cellulose", "that no wrap holds cellulose", remedy))
    yield from confirmed(load.code, load.programme.name, asked)
