"""What every page shows around its own matter: the unit, the way to the other pages, help, sign-out."""

from __future__ import annotations

from functools import partial
from typing import Any, NamedTuple

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

THEMES = ("light", "dark")

# Sections with their icons and pages, each page a label and the name of its URL. What does not resolve is left out.
Pages = tuple[tuple[str, str], ...]
SECTIONS: tuple[tuple[str, str, Pages], ...] = (
    ("Today", "sun", (("Today", "day"),)),
    ("Scan", "scan-barcode", (("Scan", "scan"),)),
    (
        "Lists",
        "clipboard-list",
        (("Lists", "lists"), ("What is asked for", "needs"), ("Stage times", "stage-times")),
    ),
    ("Trays", "package", (("Trays", "trays"), ("Templates", "templates"), ("Fit", "fit"))),
    (
        "Loads",
        "layers",
        (
            ("Loads", "loads"),
            ("Machines", "machines"),
            ("Periodic tests", "periodic-tests"),
            ("Programmes", "programmes"),
            ("Records without a load", "records"),
        ),
    ),
    (
        "Stock",
        "box",
        (
            ("Single use and implants", "stock"),
            ("Receive", "receive"),
            ("Loans", "loans"),
            ("Service and life", "service"),
        ),
    ),
    (
        "Quality",
        "shield-check",
        (
            ("Non-conformities", "quality"),
            ("Residual protein", "protein"),
            ("Quarantine boxes", "boxes"),
            ("Recalls", "recalls"),
            ("Reports", "reports"),
            ("Look back", "look-back"),
            ("Sealed trail", "trail"),
            ("Validation", "validation"),
        ),
    ),
    (
        "Catalogue",
        "book-open",
        (("Catalogue", "catalogue"), ("Cards and sheets", "print"), ("Master data", "admin:index")),
    ),
    ("Find", "search", (("Find", "find"),)),
    ("Notices", "bell", (("Notices", "notices"),)),
)
STAFF_ONLY = "admin:index"
BELONGS_TO = {"/cases/": "lists", "/packs/": "trays", "/pieces/": "catalogue"}
"""Beginnings of addresses that stand beside the page that they belong to, and that page."""


class Entry(NamedTuple):
    """One page of the navigation."""

    label: str
    url: str
    current: bool


class Section(NamedTuple):
    """Pages that belong together; the first of them is where its name leads."""

    label: str
    icon: str
    entries: tuple[Entry, ...]

    @property
    def url(self) -> str:
        """Its first page."""
        return self.entries[0].url

    @property
    def current(self) -> bool:
        """Is the reader on one of its pages."""
        return any(entry.current for entry in self.entries)


class Page(NamedTuple):
    """What the frame of a page needs; addresses are empty when there is no such page."""

    unit_name: str
    help_extension: str
    home_url: str
    sign_in_url: str
    sign_out_url: str
    theme: str
    navigation: tuple[Section, ...]


def page(request: HttpRequest) -> dict[str, Any]:
    """The frame of the page that answers this request, made when it is drawn: a part of a page has none."""
    return {"page": SimpleLazyObject(partial(_page, request))}


def _page(request: HttpRequest) -> Page:
    theme = request.COOKIES.get("theme", "")
    return Page(
        unit_name=settings.UNIT_NAME,
        help_extension=settings.HELP_EXTENSION,
        home_url=address(settings.LOGIN_REDIRECT_URL),
        sign_in_url=address(settings.LOGIN_URL),
        sign_out_url=address("sign-out"),
        theme=theme if theme in THEMES else "",
        navigation=_navigation(request),
    )


def _navigation(request: HttpRequest) -> tuple[Section, ...]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return ()
    found = {
        name: url
        for _, _, pages in SECTIONS
        for _, name in pages
        if (name != STAFF_ONLY or user.is_staff) and (url := address(name))
    }
    starts = {url: url for url in found.values()}
    starts |= {start: found[name] for start, name in BELONGS_TO.items() if name in found}
    # The longest address that the path starts with is where the reader is: "/" is a start of everything.
    start = max((one for one in starts if request.path.startswith(one)), key=len, default="")
    here = starts.get(start, "")
    if here == "/" and request.path != "/":
        here = ""
    sections = (
        Section(
            label, icon, tuple(Entry(word, found[name], found[name] == here) for word, name in pages if name in found)
        )
        for label, icon, pages in SECTIONS
    )
    return tuple(section for section in sections if section.entries)


def address(name: str, *args: object) -> str:
    """The address of a page by its name; empty when there is no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
