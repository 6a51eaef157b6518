"""The closer look at the curves of a record: by mouse, buttons and keyboard, and when nothing answers."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import ConsoleMessage, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.e2e.test_station import check, nurse, sign_in
from tests.reprocessing import makers as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHOWN = re.compile(r"Shown: ([\d.]+) to ([\d.]+) min of ([\d.]+) min")


def shown(page: Page) -> tuple[float, float, float]:
    """From, to and length of the record [min], as the page says."""
    found = SHOWN.search(page.locator("[data-curves-words]").inner_text())
    assert found
    start, end, lasts = (float(figure) for figure in found.groups())
    return start, end, lasts


def changed(page: Page, before: tuple[float, float, float]) -> tuple[float, float, float]:
    """What is shown once it is no longer what was shown before."""
    words = page.locator("[data-curves-words]")
    expect(words).not_to_contain_text(f"Shown: {before[0]:.2f} to {before[1]:.2f} min")
    return shown(page)


def test_a_record_is_looked_at_closer(page: Page, live_server: LiveServer) -> None:
    load, complaints = make.complete(), []

    def said(message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            complaints.append(message.text)

    page.on("console", said)
    sign_in(page, live_server.url, nurse().username)
    page.goto(f"{live_server.url}/loads/{load.code}/")
    page.get_by_text("Look closer").click()
    expect(page.locator("[data-curves-words]")).to_contain_text("Shown")
    whole = shown(page)
    assert whole[:2] == (0, whole[2])
    check(page, "the curves, closer")

    plot = page.locator(".u-over").bounding_box()
    assert plot
    page.mouse.move(plot["x"] + plot["width"] * 0.25, plot["y"] + 50)
    page.mouse.down()
    page.mouse.move(plot["x"] + plot["width"] * 0.75, plot["y"] + 60, steps=4)
    page.mouse.up()
    dragged = changed(page, whole)
    assert dragged[0] == pytest.approx(whole[2] * 0.25, abs=whole[2] * 0.02)
    assert dragged[1] == pytest.approx(whole[2] * 0.75, abs=whole[2] * 0.02)

    page.get_by_role("button", name="Closer").click()
    closer = changed(page, dragged)
    assert closer[1] - closer[0] == pytest.approx((dragged[1] - dragged[0]) / 2, abs=0.02)
    page.get_by_role("button", name="Exposure").click()
    exposure = changed(page, closer)

    page.locator(".closer-plot").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-curves-where]")).to_have_text(f"At {exposure[0]:.2f} min")
    first = page.locator("[data-curves] tbody td").first
    assert 134 <= float(first.inner_text()) <= 137  # within the band, as an exposure is

    assert_nothing_lost_when_nothing_answers(page, whole)
    assert [complaint for complaint in complaints if "ERR_FAILED" not in complaint] == []


def assert_nothing_lost_when_nothing_answers(page: Page, whole: tuple[float, float, float]) -> None:
    page.route("**/curves/**", lambda route: route.abort())
    page.get_by_role("button", name="Whole record").click()
    expect(page.locator("[data-curves-words]")).to_contain_text("The readings did not come.")
    page.unroute("**/curves/**")
    page.get_by_role("button", name="Whole record").click()
    expect(page.locator("[data-curves-words]")).to_contain_text("Shown")
    assert shown(page) == whole
