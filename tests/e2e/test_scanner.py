"""The scanner as a keyboard wedge, in a real browser: what a burst of keys becomes, and that no scan is lost.

The page is the real base page with a form of the test's own; the server is a table of answers that the test holds
back as long as it likes. What scanners send (F8 or Ctrl+] for the separator, Ctrl+J as a line end, keys of a US
keyboard) is common practice of keyboard wedges, no source; the separator is FNC1 as U+001D of the GS1 General
Specifications, section 7.8 (from memory).
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs

import pytest
from django.contrib.staticfiles import finders
from django.template import Context, Template
from playwright.sync_api import Page, Route, expect

pytestmark = pytest.mark.browser

SITE = "http://station.test"
GS = "\u001d"
UUID4 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
FORM = """
  <form data-scan-form method="post" action="/scan/" hx-post="/scan/" hx-target="#answer">
    <input type="hidden" name="key" data-scan-key>
    <input name="code" data-scan-input aria-label="Mark">
    <button>Take</button>
  </form>
  <input id="note" aria-label="Note" value="before">
  <button type="button" id="bystander">Bystander</button>
  <div id="answer"><section data-now></section></div>
"""
# Counts notes by their starting frequency without playing them.
LISTEN = """
  window.heard = [];
  window.pressed = false;
  const ramp = AudioParam.prototype.setValueAtTime;
  AudioParam.prototype.setValueAtTime = function (value, at) {
    if (value > 20) window.heard.push(value);
    return ramp.call(this, value, at);
  };
"""
PRESS = """
  keys => keys.forEach(([key, code, shift, caps]) => document.body.dispatchEvent(new KeyboardEvent(
    "keydown", { key, code, shiftKey: Boolean(shift), modifierCapsLock: Boolean(caps), bubbles: true },
  )))
"""
KEY_GAP_S = 0.003
CONTROL, SHIFT = 2, 8  # the DevTools protocol's bits
US_KEYS: dict[str, dict[str, Any]] = {
    "F8": {"key": "F8", "code": "F8", "windowsVirtualKeyCode": 119},
    "Control+]": {"key": "]", "code": "BracketRight", "modifiers": CONTROL, "windowsVirtualKeyCode": 221},
    "Control+J": {"key": "j", "code": "KeyJ", "modifiers": CONTROL, "windowsVirtualKeyCode": 74},
    "Enter": {"key": "Enter", "code": "Enter", "text": "\r", "windowsVirtualKeyCode": 13},
}
SIGNS = {"]": "BracketRight", "-": "Minus", "/": "Slash", " ": "Space"}
SHIFTED_SIGNS = {"_": "Minus", "#": "Digit3"}


def us_key(sign: str) -> dict[str, Any]:
    """The key of a US keyboard that gives a sign."""
    code = f"Key{sign.upper()}" if sign.isalpha() else f"Digit{sign}"
    code = {**SIGNS, **SHIFTED_SIGNS}.get(sign, code)
    shift = sign.isupper() or sign in SHIFTED_SIGNS
    return {"key": sign, "code": code, "text": sign, "modifiers": SHIFT if shift else 0}


class Station:
    """A page that takes scans, and the server behind it.

    Args:
        page: the browser's page.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.person = 7
        self.body = FORM
        self.held: list[Route] = []
        self.taken: list[tuple[str, str]] = []
        self.keys = page.context.new_cdp_session(page)
        page.add_init_script(LISTEN)
        page.route(f"{SITE}/**", self._answer)

    def _answer(self, route: Route) -> None:
        request = route.request
        if "/static/" in request.url:
            found = finders.find(request.url.split("/static/")[1])
            route.fulfill(path=Path(str(found))) if found else route.fulfill(status=404)
        elif request.method == "POST":
            sent = parse_qs(request.post_data or "", keep_blank_values=True)
            self.taken.append((sent["code"][0], sent["key"][0]))
            self.held.append(route)
        else:
            text = '{% extends "base.html" %}{% block title %}Scan{% endblock %}{% block main %}' + self.body
            user = SimpleNamespace(pk=self.person, is_authenticated=True)
            page = Template(text + "{% endblock %}").render(Context({"user": user}))
            route.fulfill(body=page, content_type="text/html")

    def open(self, address: str = "/scan/") -> None:
        self.page.goto(SITE + address)

    def scan(self, text: str, separator: str = "F8", end: str = "Enter") -> None:
        """A burst as a scanner set to a US keyboard sends it: real key events, whose times say 3 ms apart.

        The times are stated, not waited for, so that a busy machine does not turn the scanner into a person.
        """
        keys = [US_KEYS[separator] if sign == GS else us_key(sign) for sign in text]
        at = time.time()
        for key in [*keys, US_KEYS[end]]:
            at += KEY_GAP_S
            self.keys.send("Input.dispatchKeyEvent", {"type": "keyDown", **key, "timestamp": at})
            self.keys.send("Input.dispatchKeyEvent", {"type": "keyUp", **key, "text": "", "timestamp": at})

    def until(self, true: Callable[[], bool]) -> None:
        """Let the page go on until something is true; five seconds at most."""
        end = time.monotonic() + 5
        while not true():
            assert time.monotonic() < end, f"taken so far: {self.taken}"
            self.page.wait_for_timeout(20)

    def reply(self, result: str = "taken", status: int = 200) -> None:
        """Answer the scan that waits longest."""
        self.until(lambda: bool(self.held))
        body = (
            f'<section data-now data-result="{result}"><div class="now">{self.taken[-1][0]} {result}</div></section>'
        )
        self.held.pop(0).fulfill(status=status, body=body, content_type="text/html")

    @property
    def codes(self) -> list[str]:
        return [code for code, _ in self.taken]


@pytest.fixture
def station(page: Page) -> Station:
    station = Station(page)
    station.open()
    return station


def test_scan_with_nothing_focused_keeps_case_signs_and_separator(station: Station) -> None:
    station.scan(f"]d20104012345678901{GS}21Tray-7_/#z")
    station.reply()
    assert station.codes == [f"]d20104012345678901{GS}21Tray-7_/#z"]
    expect(station.page.locator("[data-result=taken]")).to_be_visible()


def test_separator_as_control_bracket_and_line_end_as_control_j(station: Station) -> None:
    station.scan(f"AB1{GS}C", separator="Control+]", end="Control+J")
    station.reply()
    assert station.codes == [f"AB1{GS}C"]


# [key the page is told, code of the physical key, Shift, Caps Lock], and what a scanner set to a US keyboard meant
GERMAN = [["T", "KeyT", 1, 0], ["z", "KeyY", 0, 0], ["y", "KeyZ", 0, 0], ["ß", "Minus", 0, 0], ["-", "Slash", 0, 0]]
CAPS = [["t", "KeyT", 1, 1], ["A", "KeyA", 0, 1], ["b", "KeyB", 1, 1], ["7", "Digit7", 0, 1], ["#", "Digit3", 1, 1]]


@pytest.mark.parametrize(("keys", "meant"), [(GERMAN, "Tyz-/"), (CAPS, "TaB7#")], ids=["German host", "Caps Lock"])
def test_scan_is_read_by_physical_key(station: Station, keys: list[Any], meant: str) -> None:
    station.page.keyboard.press("Escape")  # the first key also opens the sound, which would take from the burst's time
    station.page.evaluate(PRESS, [*keys, ["Enter", "Enter", 0, 0]])
    station.reply()
    assert station.codes == [meant]


def test_scan_into_another_field_leaves_it_as_it_was(station: Station) -> None:
    station.page.focus("#note")
    station.scan("T000123A")
    station.reply()
    assert station.codes == ["T000123A"]
    assert station.page.input_value("#note") == "before"


def test_scan_presses_no_button(station: Station) -> None:
    station.page.evaluate("document.querySelector('#bystander').addEventListener('click', () => { pressed = true; })")
    station.page.focus("#bystander")
    station.scan("AB CD EF")
    station.reply()
    assert station.codes == ["AB CD EF"]
    assert station.page.evaluate("pressed") is False


def test_person_who_types_is_no_scanner(station: Station) -> None:
    station.page.fill("#note", "")
    station.page.type("#note", "hello", delay=90)
    station.page.wait_for_timeout(90)
    station.page.keyboard.press("Enter")
    station.page.wait_for_timeout(200)
    assert station.codes == []
    assert station.page.input_value("#note") == "hello"


def test_typed_code_goes_the_same_way(station: Station) -> None:
    station.page.fill("[data-scan-input]", " T000123A ")
    station.page.click("text=Take")
    station.reply()
    assert station.codes == [" T000123A "]  # as typed: the check character of a HIBC mark may be a space
    assert station.page.input_value("[data-scan-input]") == ""


@pytest.mark.parametrize("focus", ["[data-scan-input]", "body"])
def test_no_scan_is_lost_while_the_server_is_slow(station: Station, focus: str) -> None:
    codes = [f"T{n:06}" for n in range(20)]
    station.page.focus(focus)
    for code in codes:
        station.scan(code)
    for n in range(len(codes)):
        station.until(lambda: bool(station.held))
        assert len(station.held) == 1, "one at a time"
        assert station.codes == codes[: n + 1]
        station.reply()
    station.until(lambda: station.page.locator("text=T000019 taken").is_visible())
    assert len({key for _, key in station.taken}) == len(codes)
    assert all(UUID4.fullmatch(key) for _, key in station.taken)
    assert station.page.input_value("[data-scan-input]") == ""


def test_result_is_painted_from_the_answer_only(station: Station) -> None:
    now = station.page.locator("[data-now]")
    station.scan("T000123A")
    expect(now).to_contain_text("Sending…")
    expect(now).to_contain_text("Waiting for the server", timeout=2_000)
    station.reply("stop", status=409)
    expect(now).to_have_text("T000123A stop")


def test_scan_whose_answer_was_lost_is_sent_again_with_its_key(station: Station) -> None:
    station.scan("T000001")
    station.scan("T000002")
    station.until(lambda: bool(station.held))
    station.held.pop().abort()
    expect(station.page.locator("[data-now]")).to_contain_text("2 to send")
    station.reply()
    station.reply()
    assert station.codes == ["T000001", "T000001", "T000002"]
    assert station.taken[0] == station.taken[1]


def test_server_fault_is_said_and_the_next_scan_goes_on(station: Station) -> None:
    station.scan("T000001")
    station.scan("T000002")
    station.reply(status=500)
    station.reply()
    expect(station.page.locator("[data-notices]")).to_contain_text("T000001 was not taken")
    assert station.codes == ["T000001", "T000002"]


def test_reload_goes_on_with_what_was_not_answered(station: Station) -> None:
    for code in ["T000001", "T000002", "T000003"]:
        station.scan(code)
    station.until(lambda: bool(station.held))
    station.held.clear()
    station.open()
    for _ in range(3):
        station.reply()
    assert station.codes == ["T000001", "T000001", "T000002", "T000003"]
    assert station.taken[0] == station.taken[1]


@pytest.mark.parametrize("change", ["page", "person"])
def test_scans_never_reach_another_page_or_person(station: Station, change: str) -> None:
    station.scan("T000001")
    station.scan("T000002")
    station.until(lambda: bool(station.held))
    station.held.clear()
    if change == "page":
        station.body = FORM.replace("/scan/", "/assemble/")
    else:
        station.person = 8
    station.open()
    expect(station.page.locator("[data-notices]")).to_contain_text("T000001, T000002. Scan them again")
    assert station.codes == ["T000001"]


def test_page_that_takes_no_scans_says_so(station: Station) -> None:
    station.body = '<form method="get"><input name="q" aria-label="Find"></form>'
    station.open()
    station.scan("T000123A")
    expect(station.page.locator("[data-notices]")).to_contain_text("This page takes no scans")
    station.page.focus("[name=q]")
    station.scan("T000123A")
    station.page.wait_for_url("**?q=T000123A")


def test_three_results_have_three_sounds_and_can_be_muted(station: Station) -> None:
    for result, notes in [("taken", [660, 990]), ("look", [520, 520]), ("stop", [220])]:
        station.page.evaluate("window.heard.length = 0")
        station.scan("T000123A")
        station.reply(result)
        station.until(lambda: bool(station.page.evaluate("window.heard.length")))
        assert station.page.evaluate("window.heard") == notes
    station.page.click("text=Sound on")
    station.page.evaluate("window.heard.length = 0")
    station.scan("T000124B")
    station.reply("stop")
    expect(station.page.locator("[data-result=stop]")).to_contain_text("T000124B")
    assert station.page.evaluate("window.heard") == []
    station.open()
    expect(station.page.locator("[data-mute]")).to_have_text("Sound off")


def test_theme_is_kept_for_the_station(station: Station) -> None:
    station.page.click("text=Theme as the device")
    assert station.page.get_attribute("html", "data-theme") == "light"
    station.page.click("text=Light theme")
    assert station.page.get_attribute("html", "data-theme") == "dark"
    assert {cookie["name"]: cookie["value"] for cookie in station.page.context.cookies()}["theme"] == "dark"
