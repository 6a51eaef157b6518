"""The catalogue asked for fit: every part in every bore of a series, and what goes through one bore together."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from instruments.fit import Dimension
from instruments.fit_matrix import Clearance, fit_matrix
from instruments.gauge import french
from instruments.models import Part, PartKind, Series
from instruments.reads.measures import SHAFT_KINDS, bore_of, shaft_of
from instruments.together import GROUPS, Group, go_together

NOT_MEASURED = "Not measured"

# In the order in which a bench reaches for them.
KINDS_IN_ORDER = (
    PartKind.TELESCOPE,
    PartKind.FORCEPS,
    PartKind.SUCTION,
    PartKind.SHEATH,
    PartKind.PUSHER,
    PartKind.LOADER,
    PartKind.IMPLANT,
    PartKind.BARREL,
)
GAUGED = (PartKind.SUCTION, PartKind.SHEATH)  # named in French as well: common practice, no source


@dataclass(frozen=True, slots=True)
class Row:
    """One part of a matrix and what it leaves of each bore; None where the part is the bore itself."""

    part: Part
    width: str
    cells: tuple[Clearance | None, ...]


@dataclass(frozen=True, slots=True)
class Matrix:
    """Every part that may go through, against the bores of one kind of a series, in size order.

    Args:
        bores: the parts of the columns, each with its inner diameter in words.
        rows: the parts that may go through, by kind and size.
        kinds: the kinds of bore that the series has.
        gap_mm: running gap on either side [mm].
    """

    bores: tuple[tuple[Part, str], ...]
    rows: tuple[Row, ...]
    kinds: tuple[str, ...]
    gap_mm: float


@dataclass(frozen=True, slots=True)
class Company:
    """What goes through one bore together.

    Args:
        groups: by roles, each with its choices; none when the bore is not measured.
        shafts: the measured parts of each role, which the positions of a choice point into.
        offered: every measured part that may be among them.
        unknown: parts that could be asked for but have no measured width.
    """

    groups: tuple[Group, ...]
    shafts: dict[str, list[Part]]
    offered: tuple[Part, ...]
    unknown: tuple[Part, ...]


def matrix_of(series: Series, *, through: str, kind: str, gap_mm: float) -> Matrix:
    """The fit matrix of a series, in one query.

    Args:
        series: whose parts are the columns.
        through: kind of the columns; one that the series lacks gives the first that it has.
        kind: only rows of this kind; empty = all.
        gap_mm: running gap on either side [mm], from 0.
    """
    parts = _shafts_in_order()
    in_series = [part for part in parts if part.size is not None and part.size.series_id == series.pk]
    kinds = tuple(kind for kind in (PartKind.BARREL, PartKind.SHEATH, PartKind.LOADER) if _any(in_series, kind))
    chosen = through if through in kinds else next(iter(kinds), "")
    bores = [part for part in in_series if part.kind == chosen]
    shown = [part for part in parts if kind in ("", part.kind)]
    cells = fit_matrix([bore_of(part).size for part in bores], [shaft_of(part).size for part in shown], gap_mm)
    rows = (
        Row(part, width_of(part), tuple(None if part == bore else cell for bore, cell in zip(bores, row, strict=True)))
        for part, row in zip(shown, cells, strict=True)
    )
    return Matrix(tuple((part, _words(bore_of(part).size)) for part in bores), tuple(rows), kinds, gap_mm)


def company_of(bore: Part, *, beside: str, gap_mm: float, most: int | None) -> Company:
    """What goes through a bore together, in one query.

    Args:
        bore: the part with the bore.
        beside: code of a part that must be among them; empty = any.
        gap_mm: running gap between any two surfaces [mm], from 0.
        most: choices to list in a group; None = all.
    """
    roles = {role for group in GROUPS for role in group}
    parts = [part for part in _shafts_in_order() if role_of(part) in roles]
    offered = tuple(part for part in parts if shaft_of(part).size)
    unknown = tuple(part for part in parts if not shaft_of(part).size)
    wanted = next((role_of(part) for part in offered if part.code == beside), "")
    shafts: dict[str, list[Part]] = {role: [] for role in roles}
    for part in offered:
        if role_of(part) != wanted or part.code == beside:
            shafts[role_of(part)].append(part)
    size = bore_of(bore).size
    sizes = {role: [width for part in row if (width := shaft_of(part).size)] for role, row in shafts.items()}
    groups = go_together(size, sizes, gap_mm, most) if size else ()
    return Company(tuple(group for group in groups if wanted in ("", *group.roles)), shafts, offered, unknown)


def role_of(part: Part) -> str:
    """What a part is beside others in a bore: its kind, forceps that carry a telescope apart."""
    optical = part.kind == PartKind.FORCEPS and hasattr(part, "forceps") and part.forceps.optical
    return "optical forceps" if optical else part.kind


def width_of(part: Part) -> str:
    """What a part takes up in a bore, in words: French with millimetres where it is named so."""
    size = shaft_of(part).size
    if size is not None and part.kind in GAUGED:
        return french(size.nominal_mm, size.tolerance_mm)
    return _words(size)


def _words(size: Dimension | None) -> str:
    return size.words if size else NOT_MEASURED


def _any(parts: Iterable[Part], kind: PartKind) -> bool:
    return any(part.kind == kind for part in parts)


def _shafts_in_order() -> list[Part]:
    """Every part that may go through a bore, by kind, then series and size, then width."""
    parts = Part.objects.with_dimensions().filter(kind__in=SHAFT_KINDS)
    return sorted(parts, key=_place)


def _place(part: Part) -> tuple[int, str, int, float, str]:
    series, order = (part.size.series.code, part.size.order) if part.size else ("", 0)
    width = shaft_of(part).size
    kind = KINDS_IN_ORDER.index(PartKind(part.kind))
    return kind, series, order, width.nominal_mm if width else math.inf, part.code
