"""A maker's mark scanned at the page of receiving, in a real browser: the separator arrives, the form is filled."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests import makers
from tests.e2e.test_scanner import GS, KEY_GAP_S, US_KEYS, us_key
from tests.e2e.test_station import check, nurse, sign_in
from trays.models import Pack

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MARK = f"]d20109504000059118{'10LOT-7'}{GS}1776013121S1/a"


def burst(page: Page, text: str) -> None:
    """Keys as a scanner sends them, F8 for the separator; the times are stated, so that a busy machine is no fault."""
    keys = page.context.new_cdp_session(page)
    at = time.time()
    for key in [*(US_KEYS["F8"] if sign == GS else us_key(sign) for sign in text), US_KEYS["Enter"]]:
        at += KEY_GAP_S
        keys.send("Input.dispatchKeyEvent", {"type": "keyDown", **key, "timestamp": at})
        keys.send("Input.dispatchKeyEvent", {"type": "keyUp", **key, "text": "", "timestamp": at})


def test_a_makers_mark_fills_the_form(page: Page, live_server: LiveServer) -> None:
    person, part = nurse(), makers.part(single_use=True, name="Stent 14 × 40 mm")
    sign_in(page, live_server.url, person.username)
    for lot, number in (("LOT-7", 1), ("LOT-8", 2)):
        page.goto(f"{live_server.url}/receive/")
        burst(page, MARK.replace("LOT-7", lot).replace("S1/a", f"S{number}/a"))
        expect(page.locator("#id_lot")).to_have_value(lot)
        expect(page.locator("#id_serial")).to_have_value(f"S{number}/a")
        expect(page.locator("#id_expires")).to_have_value("2076-01-31")
        if number == 1:
            expect(page.locator("[data-result=look]")).to_contain_text("Choose the part.")
            check(page, "receive")
            page.select_option("#id_part", part.code)
        expect(page.locator("#id_part")).to_have_value(part.code)
        page.check("#id_barrier_intact")
        page.click("text=Receive pack")
        expect(page.locator("[data-notices]")).to_contain_text("received as K")
    assert sorted(pack.contents.get().piece.serial for pack in Pack.objects.all()) == ["S1/a", "S2/a"]


def test_a_mark_without_its_separator_is_a_fault_that_is_named(page: Page, live_server: LiveServer) -> None:
    sign_in(page, live_server.url, nurse().username)
    page.goto(f"{live_server.url}/receive/")
    burst(page, "stent from the box")
    expect(page.locator("[data-result=stop]")).to_contain_text("must be a GS1 or HIBC mark")
    check(page, "receive, refused")
