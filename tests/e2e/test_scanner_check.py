"""The page of the scanner card in a real browser: what its measuring makes of the keys of one scan.

How scanners are set up wrong (no Enter, slow keys, Caps Lock, the layout of the host) is common practice of keyboard
wedges, no source.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from instruments.scanner_check import SENT
from journal.models import ScannerCheck, Station
from tests import makers
from tests.e2e.test_scanner import GS, KEY_GAP_S, PRESS, US_KEYS, us_key
from tests.e2e.test_station import check, nurse, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ENTER = US_KEYS["Enter"]


@pytest.fixture
def card(page: Page, live_server: LiveServer) -> Page:
    station = Station.objects.create(name="Bench 1", place=makers.place())
    sign_in(page, live_server.url, nurse().username)
    page.goto(f"{live_server.url}/station/?back=/scan/check/")
    page.get_by_role("button", name=station.name).click()
    page.goto(f"{live_server.url}/scan/check/")
    return page


def keys_of(text: str) -> list[dict[str, Any]]:
    return [US_KEYS["F8"] if sign == GS else us_key(sign) for sign in text]


def press(page: Page, keys: Iterable[dict[str, Any]], gap_s: float = KEY_GAP_S) -> None:
    """Real key events; their times are stated, not waited for."""
    devtools, at = page.context.new_cdp_session(page), time.time()
    for key in keys:
        at += gap_s
        devtools.send("Input.dispatchKeyEvent", {"type": "keyDown", **key, "timestamp": at})
        devtools.send("Input.dispatchKeyEvent", {"type": "keyUp", **key, "text": "", "timestamp": at})


def test_a_burst_passes(card: Page) -> None:
    press(card, [*keys_of(SENT), ENTER])
    expect(card.get_by_role("main")).to_contain_text("Scanner checked")
    last = ScannerCheck.objects.get()
    assert (last.passed, last.faults) == (True, [])
    check(card, "scanner passed")


@pytest.mark.parametrize(
    ("keys", "gap_s", "said"),
    [
        ([*keys_of(SENT), ENTER], 0.09, "key to key"),
        ([*keys_of(SENT.replace(GS, "")), ENTER], KEY_GAP_S, "separator"),
        (keys_of(SENT), KEY_GAP_S, "Enter"),
        ([*keys_of(SENT.translate(str.maketrans("yzYZ", "zyZY"))), ENTER], KEY_GAP_S, "layout"),
    ],
    ids=["slow", "no separator", "no Enter", "y and z swapped"],
)
def test_each_fault_is_named(card: Page, keys: list[dict[str, Any]], gap_s: float, said: str) -> None:
    press(card, keys, gap_s)
    main = card.get_by_role("main")
    expect(main).to_contain_text("Not passed")
    last = ScannerCheck.objects.get()
    assert not last.passed
    assert any(said in fault for fault in last.faults), last.faults
    expect(main).to_contain_text(last.faults[0])
    check(card, f"scanner, {said}")


def test_caps_lock_is_named(card: Page) -> None:
    sent = [
        [sign.swapcase() if sign.isalpha() else sign, key["code"], int(bool(key.get("modifiers"))), 1]
        for sign, key in zip(SENT, keys_of(SENT), strict=True)
    ]
    sent = [["F8", "F8", 0, 1] if row[1] == "F8" else row for row in sent]
    card.evaluate(PRESS, [*sent, ["Enter", "Enter", 0, 1]])
    expect(card.get_by_role("main")).to_contain_text("Not passed")
    assert any("Caps Lock" in fault for fault in ScannerCheck.objects.get().faults)
    check(card, "scanner, Caps Lock")
