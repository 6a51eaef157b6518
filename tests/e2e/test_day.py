"""A day's list that stays open in a real browser: it renews itself, loses nothing, and says when it is out of date."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests import makers
from tests.e2e.test_station import RULES, nurse, sign_in
from tests.lists import makers as theatre
from tests.lists.desk import day_address, soon

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MINUTE_MS = 60_000


def open_day(page: Page, site: str) -> None:
    """The day of a case whose tray lacks two things."""
    tray = makers.tray(makers.template(makers.part(), makers.part()))
    theatre.case_with(tray, starts_at=soon())
    sign_in(page, site, nurse().username)
    page.clock.install()
    page.goto(site + day_address(soon()))


def test_a_day_renews_itself_and_what_was_opened_stays_open(page: Page, live_server: LiveServer) -> None:
    open_day(page, live_server.url)
    page.click(".needs summary")
    later = theatre.case(makers.template(makers.part()), starts_at=soon() + timedelta(hours=1))
    page.clock.run_for(MINUTE_MS + 1000)
    expect(page.locator("#day")).to_contain_text(later.code)
    expect(page.locator(".needs details[open]")).to_have_count(1)
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    assert [rule["id"] for rule in found] == []


def test_a_day_without_answers_says_that_it_is_not_current(page: Page, live_server: LiveServer) -> None:
    open_day(page, live_server.url)
    expect(page.locator("[data-stale]")).to_be_hidden()
    page.route("**/lists/**", lambda route: route.abort())
    for _ in range(6):
        page.clock.run_for(MINUTE_MS)
    expect(page.get_by_text("Not current:")).to_be_visible()
    expect(page.locator("[data-notices] .strip")).to_have_count(0)
    page.unroute("**/lists/**")
    page.clock.run_for(MINUTE_MS + 1000)
    expect(page.locator("[data-stale]")).to_be_hidden()
