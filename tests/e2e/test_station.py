"""The scan station in a real browser: a scanner that does not wait, a press, and what axe says of the pages."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from journal.models import Person
from tests import makers
from tests.lists import makers as theatre
from trays.models import Carried, Pack

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PASSWORD = "a-long-enough-one"
PIECES = 12
GAP_MS = 200  # five scans a second
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def nurse() -> Person:
    person = makers.everybody()
    person.set_password(PASSWORD)
    person.save()
    return person


def sign_in(page: Page, site: str, name: str) -> None:
    page.goto(f"{site}/sign-in/")
    page.fill("[name=username]", name)
    page.fill("[name=password]", PASSWORD)
    page.click("button:has-text('Sign in')")
    expect(page.get_by_role("heading", name="Your work")).to_be_visible()


def scan(page: Page, text: str) -> None:
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def set_of(pieces: int) -> Pack:
    parts = [makers.part(name=f"Part {number:02}") for number in range(1, pieces + 1)]
    return theatre.returned(theatre.sterile(makers.tray(makers.template(*parts), name="Adult tray A")))


def test_a_scanner_that_does_not_wait_loses_nothing(page: Page, live_server: LiveServer) -> None:
    person, pack = nurse(), set_of(PIECES)
    codes = [piece.code for piece in theatre.pieces_of(pack)]
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/scan/return/")
    for code in codes[:-1]:
        scan(page, code)
        page.wait_for_timeout(GAP_MS)
    expect(page.locator("#still-open-title")).to_contain_text(f"1 of {PIECES} still to be counted", timeout=20_000)
    expect(page.locator("#still-open .open-items")).to_contain_text(f"Part {PIECES} {codes[-1]}")
    lines = page.locator("#so-far .done").all_inner_texts()
    assert [line.split()[2] for line in lines] == list(reversed(codes[:-1]))[: len(lines)]
    page.click("text=Close the count: 1 piece is missing")
    expect(page.locator("#now")).to_contain_text(f"The count of {pack.code} is closed: 1 missing: {codes[-1]}.")
    assert not Carried.objects.filter(pack=pack).exists()
    expect(page.locator("#code")).to_be_focused()  # the pressed button is gone


def test_a_refusal_is_read_out_and_stays_beside_what_is_open(page: Page, live_server: LiveServer) -> None:
    person, pack = nurse(), set_of(2)
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/scan/return/")
    scan(page, pack.code)
    expect(page.locator("#now")).to_contain_text("is back already")
    scan(page, str(person.badge))
    refusal = page.locator("[role=status]#now [data-result=stop]")
    expect(refusal).to_contain_text(
        f"Cannot take {person.badge} here: it is a badge, must be a pack, a tray or a piece."
    )
    expect(page.locator("#still-open-title")).to_contain_text("2 of 2 still to be counted")


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_pages_are_clean_for_axe_and_no_wider_than_the_screen(page: Page, live_server: LiveServer, width: int) -> None:
    person, pack = nurse(), set_of(3)
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, person.username)
    for address in ("/", "/scan/", "/station/", "/notices/", "/help/", "/find/?q=part", "/scan/issue/"):
        page.goto(f"{live_server.url}{address}")
        check(page, address)
    page.goto(f"{live_server.url}/scan/return/")
    scan(page, pack.code)
    expect(page.locator("#now")).to_contain_text("is back already")
    check(page, "/scan/return/")
    low = page.evaluate(
        "[...document.querySelectorAll('main button, main .button')]"
        ".filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 44).map(one => one.textContent)"
    )
    assert low == []


def check(page: Page, address: str) -> None:
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    assert [(address, one["id"], [node["target"] for node in one["nodes"]]) for one in found] == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, address
