"""Paper: labels and count sheets, drawn by WeasyPrint from the same templates language as the pages.

Nothing on them names a patient. Nothing is fetched but our own style sheet and typeface.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from mimetypes import guess_type
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.exceptions import SuspiciousFileOperation
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe
from weasyprint import HTML
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from trays.models import Content, Lack, Pack, TemplateLine, TemplateVersion, Tray
from trays.reads import load_of
from trays.states import PackKind, PackState
from trays.symbols import qr_svg

OWN = "file:///"  # what stands behind it is looked for among the files that we serve ourselves
SHEET_MODULE_DOTS = 6


@dataclass(frozen=True, slots=True)
class LabelSize:
    """A size of label, and what finds room on it.

    Args:
        name: width and height [mm], as an address says them: "76x38".
        module_dots: width of a module of its symbol [dots of a 203 dpi printer].
        tight_dots: the same where more than usual must be said.
        name_characters: a longer name is set smaller, and left out on a pouch.
        lack_characters: room for the names of what lacks; the rest is counted.
        is_pouch: too small for more than code, name and use-by date.
        always_blanks: it has blanks for load and programme even when the pack is incomplete.
    """

    name: str
    module_dots: int
    tight_dots: int
    name_characters: int
    lack_characters: int
    is_pouch: bool = False
    always_blanks: bool = False


LABEL_SIZES: dict[str, LabelSize] = {
    size.name: size
    for size in (
        LabelSize("76x38", 6, 5, 44, 90, always_blanks=True),
        LabelSize("50x25", 4, 3, 44, 26),
        LabelSize("32x12", 3, 3, 40, 0, is_pouch=True),
    )
}


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A line of a count sheet.

    Args:
        position: number on the list; None for what lies beside it.
        name: the part wanted.
        part_code: its code.
        essential: whether the tray may not go out without it.
        quantity: how many the list wants; 0 beside the list.
        pieces: what is in the pack for it.
        others: parts that may stand in, in words.
    """

    position: int | None
    name: str
    part_code: str
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


def usual_size(pack: Pack) -> LabelSize:
    """The label for a pack of this kind: the largest for trays."""
    return LABEL_SIZES["76x38" if pack.kind == PackKind.TRAY else "50x25"]


def label(pack: Pack, size: LabelSize, *, copied_at: datetime | None = None) -> bytes:
    """The label of a pack as a tagged PDF of one page.

    Args:
        pack: read with tray, template and the person who assembled it.
        size: of the label.
        copied_at: when this copy is printed; None for the first print.
    """
    marked = pack.incomplete or copied_at is not None
    is_long = len(pack.name) > (size.name_characters // 2 if marked and size.is_pouch else size.name_characters)
    is_tight = marked or is_long
    lacks = list(pack.lacks.order_by("id"))
    named = _that_fit(lacks, size.lack_characters // 2 if is_long else size.lack_characters)
    context = {
        "item": None if pack.version else pack.contents.select_related("piece").first(),
        "lacks": named,
        "more_lacks": len(lacks) - len(named),
        "is_long": is_long,
        "is_tight": is_tight,
        "size": size,
        "symbol": _symbol(pack.code, size.tight_dots if is_tight else size.module_dots),
    }
    return pdf("trays/paper/label.html", {**_of_pack(pack, copied_at), **context})


def _that_fit(lacks: list[Lack], characters: int) -> list[Lack]:
    """The first lacks that a label has room for."""
    ends = itertools.accumulate(len(lack.part_name) + len("2 × ; ") for lack in lacks)
    return [lack for lack, end in zip(lacks, ends, strict=True) if end <= characters]


def count_sheet(pack: Pack, *, copied_at: datetime | None = None) -> bytes:
    """The count sheet of a pack as a tagged PDF: each piece with boxes to tick at every count."""
    rows = tuple(_rows(pack))
    total = sum(len(row.pieces) for row in rows)
    context = {"rows": rows, "total": total, "symbol": _symbol(pack.code, SHEET_MODULE_DOTS)}
    return pdf("trays/paper/count_sheet.html", {**_of_pack(pack, copied_at), **context})


def check_list(tray: Tray, version: TemplateVersion) -> bytes:
    """The list of a tray with boxes to tick and nothing filled in, for assembling without a screen."""
    rows = tuple(_wanted(line) for line in _lines(version))
    context = {
        "tray": tray,
        "version": version,
        "rows": rows,
        "total": sum(row.quantity for row in rows),
        "symbol": _symbol(tray.code, SHEET_MODULE_DOTS),
    }
    return pdf("trays/paper/check_list.html", context)


def _of_pack(pack: Pack, copied_at: datetime | None) -> dict[str, Any]:
    """What every paper of a pack says."""
    return {
        "pack": pack,
        "load": load_of(pack),
        "copied_at": copied_at,
        "is_bought": pack.kind == PackKind.MAKER,
        "not_sterile_yet": pack.state == PackState.ASSEMBLED,
    }


def _rows(pack: Pack) -> Iterator[SheetRow]:
    """The list with what is in the pack for each line, then what lies beside it."""
    inside: dict[int, list[Content]] = {}
    for content in pack.contents.select_related("piece").order_by("position", "id"):
        inside.setdefault(content.position, []).append(content)
    for line in _lines(pack.version) if pack.version else ():
        yield _wanted(line, inside.pop(line.position, ()))
    for contents in inside.values():
        for content in contents:
            yield SheetRow(None, content.part_name, content.part_code, essential=False, quantity=0, pieces=(content,))


def _lines(version: TemplateVersion) -> Iterable[TemplateLine]:
    return version.lines.select_related("part").prefetch_related("substitutes__part").order_by("position")


def _wanted(line: TemplateLine, pieces: Iterable[Content] = ()) -> SheetRow:
    others = tuple(f"{other.part.name}: {other.reason}" for other in line.substitutes.all())
    return SheetRow(
        line.position, line.part.name, line.part.code, line.essential, line.quantity, tuple(pieces), others
    )


def _symbol(code: str, module_dots: int) -> str:
    return mark_safe(qr_svg(code, module_dots=module_dots))  # noqa: S308 - its text is escaped where it is drawn


def pdf(template: str, context: Mapping[str, Any]) -> bytes:
    """A template as a tagged PDF, in the name of the unit."""
    html = render_to_string(template, {"unit": settings.UNIT_NAME, **context})
    drawn: bytes = HTML(string=html, base_url=OWN, url_fetcher=OwnFiles()).write_pdf(pdf_variant="pdf/ua-1")
    return drawn


class OwnFiles(URLFetcher):  # type: ignore[misc] # the library has no types
    """Gives paper the files that we serve ourselves, and nothing else."""

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:  # noqa: ARG002
        """The file.

        Raises:
            FatalURLFetchingError: the address is not one of ours; the paper is not drawn.
        """
        found = None
        if url.startswith(OWN):
            with suppress(SuspiciousFileOperation):  # a way out of our folders
                found = finders.find(url.removeprefix(OWN))
        if not isinstance(found, str):
            raise FatalURLFetchingError(f"Cannot put {url} on paper: it is not one of our own files.")
        kind, _ = guess_type(found)
        return URLFetcherResponse(url, Path(found).read_bytes(), {"Content-Type": kind or "application/octet-stream"})
