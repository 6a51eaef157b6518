"""Everything that is pressed is high enough for a finger: 64 px at stations, for gloves, and 44 px elsewhere."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from config.station.modes import MODES
from instruments.models import Piece
from tests import makers
from tests.e2e.test_bench import parts, tray_of
from tests.e2e.test_station import nurse, sign_in
from trays.actions import put_on_tray
from trays.models import Tray

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STATION_PX, DESK_PX = 64, 44
"""Our proposals; WCAG 2.2 asks for 24 (2.5.8), at level AAA for 44 (2.5.5), and leaves links within text free."""
NARROW_PX = 390
PRESSED = "a, button, summary, select, input:not([type=hidden])"
SMALLER = """([within, pressed, least]) => [...document.querySelectorAll(within)]
  .flatMap((part) => [...part.querySelectorAll(pressed)])
  .filter((one) => one.checkVisibility({ visibilityProperty: true }))
  .filter((one) => !(getComputedStyle(one).display === "inline" && one.closest("p, li, dd")))
  .filter((one) => !one.matches(":is(td, th) a:not(.button)"))
  .map((one) => [one, Math.round(10 * (one.closest("label") ?? one).getBoundingClientRect().height) / 10])
  .filter(([, height]) => height < least)
  .map(([one, height]) => `${one.tagName} ${(one.textContent || one.name).trim()}: ${height} px`)"""


def smaller(page: Page, within: str, least_px: int) -> list[str]:
    """What can be pressed in these parts of the page and is not as high as that."""
    assert page.locator(f"{within} >> {PRESSED}").count()
    found: list[str] = page.evaluate(SMALLER, [within, PRESSED, least_px])
    return found


def begun() -> tuple[Tray, Piece]:
    """A tray with pieces of every kind on it: they serve a line, are of another size, or are not on the list."""
    of = parts()
    tray = tray_of(of)
    laid = [makers.piece(part) for part in (of["barrel"], of["other sheath"], of["forceps"], makers.part())]
    for piece in laid:
        put_on_tray(piece.code, tray.code, act=makers.act())
    return tray, laid[0]


@pytest.mark.parametrize("width", [1280, NARROW_PX])
def test_what_is_pressed_at_a_station_is_high_enough_for_gloves(
    page: Page, live_server: LiveServer, width: int
) -> None:
    tray, piece = begun()
    bench, mast_px = f"/trays/{tray.code}/bench/", DESK_PX if width == NARROW_PX else STATION_PX
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, nurse().username)
    for address in (bench, f"{bench}?piece={piece.code}", "/scan/", *(f"/scan/{slug}/" for slug in MODES)):
        page.goto(f"{live_server.url}{address}")
        assert smaller(page, "main", STATION_PX) == [], address
        assert smaller(page, "header, footer", mast_px) == [], address


@pytest.mark.parametrize("width", [1280, NARROW_PX])
def test_what_is_pressed_at_a_desk_is_high_enough_for_fingers(page: Page, live_server: LiveServer, width: int) -> None:
    tray, piece = begun()
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, nurse().username)
    for address in ("/", "/trays/", f"/pieces/{piece.code}/", "/templates/", f"/templates/{tray.template.code}/"):
        page.goto(f"{live_server.url}{address}")
        assert smaller(page, "body", DESK_PX) == [], address
