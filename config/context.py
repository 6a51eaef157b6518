"""What every page shows around its own matter: the unit, the way to the other pages, help, sign-out."""

from __future__ import annotations

from typing import NamedTuple

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

THEMES = ("light", "dark")

# Label, name of the URL, icon. An entry whose name does not resolve is left out.
NAVIGATION = (
    ("Today", "day", "sun"),
    ("Scan", "scan", "scan-barcode"),
    ("Trays", "trays", "package"),
    ("Loads", "loads", "layers"),
    ("Machines", "machines", "washing-machine"),
    ("Recalls", "recalls", "triangle-alert"),
    ("Look back", "look-back", "history"),
    ("Stock", "stock", "box"),
    ("Lists", "lists", "clipboard-list"),
    ("Find", "find", "search"),
    ("Catalogue", "catalogue", "book-open"),
    ("Fit", "fit", "circle-dot"),
    ("Notices", "notices", "bell"),
)
MASTER_DATA = ("Master data", "admin:index", "settings")


class Entry(NamedTuple):
    """One entry of the navigation."""

    label: str
    url: str
    icon: str
    current: bool


class Page(NamedTuple):
    """What the frame of a page needs; addresses are empty when there is no such page."""

    unit_name: str
    help_extension: str
    home_url: str
    sign_in_url: str
    sign_out_url: str
    theme: str
    navigation: tuple[Entry, ...]


def page(request: HttpRequest) -> dict[str, Page]:
    """The frame of the page that answers this request."""
    theme = request.COOKIES.get("theme", "")
    return {
        "page": Page(
            unit_name=settings.UNIT_NAME,
            help_extension=settings.HELP_EXTENSION,
            home_url=address(settings.LOGIN_REDIRECT_URL),
            sign_in_url=address(settings.LOGIN_URL),
            sign_out_url=address("sign-out"),
            theme=theme if theme in THEMES else "",
            navigation=_navigation(request),
        )
    }


def _navigation(request: HttpRequest) -> tuple[Entry, ...]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return ()
    offered = (*NAVIGATION, MASTER_DATA) if user.is_staff else NAVIGATION
    found = [(label, url, icon) for label, name, icon in offered if (url := address(name))]
    # The longest address that the path starts with is where the reader is: "/" is a start of everything.
    here = max((url for _, url, _ in found if request.path.startswith(url)), key=len, default="")
    if here == "/" and request.path != "/":
        here = ""
    return tuple(Entry(label, url, icon, url == here) for label, url, icon in found)


def address(name: str, *args: object) -> str:
    """The address of a page by its name; empty when there is no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
