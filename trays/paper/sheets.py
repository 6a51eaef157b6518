"""Count sheets and check lists on A4: each piece or line with boxes to tick. Nothing on them names a patient."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Prefetch

from instruments.models import Part
from trays.models import Content, Pack, TemplateLine, TemplateVersion, Tray
from trays.paper.drawing import draw, of_pack, qr

SHEET_MODULE_DOTS = 6


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A line of a count sheet.

    Args:
        position: number on the list; None for what lies beside it.
        part: the part wanted; beside the list, that of the piece.
        essential: whether the tray may not go out without it.
        quantity: how many the list wants; 0 beside the list.
        pieces: what is in the pack for it.
        others: parts that may stand in, in words.
    """

    position: int | None
    part: Part
    essential: bool
    quantity: int
    pieces: tuple[Content, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def lacking(self) -> int:
        """How many pieces lack."""
        return max(0, self.quantity - len(self.pieces))

    @property
    def boxes(self) -> range:
        """One for each piece to tick."""
        return range(self.quantity)


def count_sheet(pack: Pack, *, copied_at: datetime | None = None) -> bytes:
    """The count sheet of a pack as a tagged PDF: each piece with boxes to tick at every count."""
    rows = tuple(_rows(pack))
    total = sum(len(row.pieces) for row in rows)
    context = {"rows": rows, "total": total, "symbol": qr(pack.code, SHEET_MODULE_DOTS)}
    return draw("trays/paper/count_sheet.html", {**of_pack(pack, copied_at), **context})


def check_list(tray: Tray, version: TemplateVersion) -> bytes:
    """The list of a tray with boxes to tick and nothing filled in, for assembling without a screen."""
    rows = tuple(_wanted(line) for line in _lines(version))
    context = {
        "tray": tray,
        "version": version,
        "rows": rows,
        "total": sum(row.quantity for row in rows),
        "symbol": qr(tray.code, SHEET_MODULE_DOTS),
    }
    return draw("trays/paper/check_list.html", context)


def _rows(pack: Pack) -> Iterator[SheetRow]:
    """The list with what is in the pack for each line, then what lies beside it."""
    inside: dict[int, list[Content]] = {}
    laid = pack.contents.select_related("piece").prefetch_related(_drawn("piece__part"))
    for content in laid.order_by("position", "id"):
        inside.setdefault(content.position, []).append(content)
    for line in _lines(pack.version) if pack.version else ():
        yield _wanted(line, inside.pop(line.position, ()))
    for contents in inside.values():
        for content in contents:
            yield SheetRow(None, content.piece.part, essential=False, quantity=0, pieces=(content,))


def _lines(version: TemplateVersion) -> Iterable[TemplateLine]:
    return version.lines.prefetch_related(_drawn("part"), "substitutes__part").order_by("position")


def _drawn(lookup: str) -> Prefetch[Any]:
    """Parts with all that their outlines need."""
    return Prefetch(lookup, Part.objects.with_dimensions().prefetch_related("base__ports"))


def _wanted(line: TemplateLine, pieces: Iterable[Content] = ()) -> SheetRow:
    others = tuple(f"{other.part.name}: {other.reason}" for other in line.substitutes.all())
    return SheetRow(line.position, line.part, line.essential, line.quantity, tuple(pieces), others)
