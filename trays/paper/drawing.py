"""How paper is drawn: WeasyPrint on the same templates language as the pages, with nothing fetched from outside."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
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

from trays.models import Pack
from trays.reads import load_of
from trays.states import PackKind, PackState
from trays.symbols import datamatrix_svg, qr_svg

OWN = "file:///"  # what stands behind it is looked for among the files that we serve ourselves


def draw(template: str, context: Mapping[str, Any]) -> bytes:
    """A template as a tagged PDF."""
    html = render_to_string(template, {"unit": settings.UNIT_NAME, **context})
    drawn: bytes = HTML(string=html, base_url=OWN, url_fetcher=OwnFiles()).write_pdf(pdf_variant="pdf/ua-1")
    return drawn


def qr(code: str, module_dots: int) -> str:
    """A QR code for a template."""
    return mark_safe(qr_svg(code, module_dots=module_dots))  # noqa: S308 - its text is escaped where it is drawn


def datamatrix(text: str, module_dots: int, *, gs1: bool = False) -> str:
    """A DataMatrix for a template."""
    return mark_safe(datamatrix_svg(text, module_dots=module_dots, gs1=gs1))  # noqa: S308 - escaped there, too


def of_pack(pack: Pack, copied_at: datetime | None) -> dict[str, Any]:
    """What every paper of a pack says."""
    return {
        "pack": pack,
        "load": load_of(pack),
        "copied_at": copied_at,
        "is_bought": pack.kind == PackKind.MAKER,
        "not_sterile_yet": pack.state == PackState.ASSEMBLED,
    }


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
