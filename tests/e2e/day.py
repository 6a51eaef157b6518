"""A workplace of the unit in a real browser: people change, a scanner types, and every page is looked at."""

from __future__ import annotations

import re
import subprocess
import time
from pathlib import Path

import zxingcpp
from PIL import Image
from playwright.sync_api import ConsoleMessage, Locator, Page, Request, expect

from tests.day import LOT, PASSWORD, PEOPLE, TRACES
from tests.e2e.test_scanner import KEY_GAP_S, US_KEYS, us_key
from tests.e2e.test_station import check

CODE = re.compile(r"/(?:[A-Z]+\d{6,}[0-9A-Z]|[2-9A-Z]{4}|\d{4}-\d\d-\d\d)/")
"""What differs between two pages of a kind: a code of the unit's own, of a case, a day."""
DOTS_PER_INCH = 300
CONFLICT = "409 (Conflict)"  # the browser complains of it; to the page it is an answer like another


class Desk:
    """One browser at which one person after the other works.

    Args:
        page: the browser's page.
        site: where the web server answers.
        password: that of everybody who signs in.
    """

    def __init__(self, page: Page, site: str, password: str = PASSWORD) -> None:
        self.page = page
        self.site = site
        self.password = password
        self.visited: set[str] = set()
        self.looked_at: set[str] = set()
        self.strays: list[str] = []
        self.complaints: list[str] = []
        self.keys = page.context.new_cdp_session(page)
        page.on("framenavigated", lambda frame: self.visited.add(self._kind(frame.url)))
        page.on("request", self._sent)
        page.on("console", self._said)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _sent(self, request: Request) -> None:
        if not request.url.startswith((f"{self.site}/", "data:")):
            self.strays.append(request.url)

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning") and CONFLICT not in message.text:
            self.complaints.append(message.text)

    def _kind(self, address: str) -> str:
        return CODE.sub("/…/", address.removeprefix(self.site).split("?")[0])

    def look(self) -> None:
        """Have axe look at the page as it is now."""
        check(self.page, self.page.url)
        self.looked_at.add(self._kind(self.page.url))

    def sign_in(self, name: str) -> None:
        """Another person takes over."""
        leave = self.page.get_by_role("button", name="Sign out")
        if leave.is_visible():
            leave.click()
        else:
            self.go("/sign-in/")
            self.look()
        self.page.get_by_label("Name or badge").fill(name)
        self.page.get_by_label("Password").fill(self.password)
        self.page.get_by_role("button", name="Sign in").click()
        expect(self.page.get_by_role("heading", name="Your work")).to_be_visible()
        expect(self.page.locator(".who")).to_contain_text(PEOPLE[name][0])

    def go(self, address: str) -> None:
        """Open a page."""
        self.page.goto(self.site + address)

    def work(self, mode: str) -> None:
        """Choose a kind of work at the scan station."""
        self.go("/scan/")
        self.page.locator("main").get_by_role("link", name=mode, exact=True).click()
        expect(self.page.get_by_role("heading", name=mode, exact=True)).to_be_visible()

    def scan(self, mark: str) -> None:
        """What a scanner types: real keys, whose times say 3 ms apart."""
        at = time.time()
        for key in [*(us_key(sign) for sign in mark), US_KEYS["Enter"]]:
            at += KEY_GAP_S
            self.keys.send("Input.dispatchKeyEvent", {"type": "keyDown", **key, "timestamp": at})
            self.keys.send("Input.dispatchKeyEvent", {"type": "keyUp", **key, "text": "", "timestamp": at})

    def take(self, mark: str, says: str) -> None:
        """Scan, and wait for what the station answers."""
        self.scan(mark)
        self.hears(says)

    def hears(self, words: str) -> None:
        """The station says so now."""
        expect(self.page.locator("#now")).to_contain_text(words)

    def press(self, label: str, within: Locator | None = None) -> None:
        """Press a button."""
        (within or self.page.locator("main")).get_by_role("button", name=label).click()

    def printed(self, button: str, to: Path) -> Path:
        """Press a button that prints, and keep the document; the browser itself would show it in a reader."""
        form = self.page.locator("form").filter(has=self.page.get_by_role("button", name=button, exact=True))
        names = ("csrfmiddlewaretoken", "key")
        fields: dict[str, str | float | bool] = {name: form.locator(f"[name={name}]").input_value() for name in names}
        address = f"{self.site}{form.get_attribute('action')}"
        headers = {"Referer": self.page.url}
        answer = self.page.request.post(address, form=fields, headers=headers, fail_on_status_code=True)
        to.write_bytes(answer.body())
        return to

    def told(self, words: str) -> None:
        """The page that came says so at its head."""
        expect(self.page.locator("[data-notices]")).to_contain_text(words)

    def step(self, title: str) -> Locator:
        """The form of a step on a page."""
        return self.page.locator("form").filter(has=self.page.get_by_role("heading", name=title, exact=True))


def attach(desk: Desk, trace: str) -> None:
    """Upload a machine's record at the page of its load."""
    form = desk.step("Attach record")
    form.get_by_label("The machine’s record").set_input_files(TRACES / f"{trace}.csv")
    desk.press("Attach record", form)


def pass_indicator(desk: Desk) -> None:
    """A chemical indicator that went with the load is entered and read."""
    form = desk.step("Place indicator")
    form.get_by_label("Chemical").check()
    form.get_by_label("Lot").fill(LOT)
    desk.press("Place indicator", form)
    form = desk.step(f"Chemical indicator, lot {LOT}")
    form.get_by_label("Passed").check()
    desk.press("Record reading", form)
    desk.told("has passed")


def evidence(desk: Desk, what: str) -> Locator:
    """A row of the record in figures, or of the evidence, by what it is about."""
    rows = desk.page.locator(".evidence").get_by_role("row")
    return rows.filter(has=desk.page.get_by_role("rowheader", name=what, exact=True))


def symbol_on(pdf: Path) -> str:
    """What an independent reader reads off the first page as a printer would draw it."""
    picture = pdf.with_suffix("")
    command = ["pdftoppm", "-png", "-singlefile", "-r", str(DOTS_PER_INCH), str(pdf), str(picture)]
    subprocess.run(command, check=True)
    with Image.open(picture.with_suffix(".png")) as page:
        (symbol,) = zxingcpp.read_barcodes(page)
    return str(symbol.text)
