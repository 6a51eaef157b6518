"""A day of the unit in a real browser: a set comes back with a piece missing, and goes to the next case.

What went before stands in the trail by requests of the same people: the first processing, this morning's case.
From then on everything is scanned, pressed and read on pages.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from config.celery import app
from tests.day import OTHER_STERILISER, PASSWORD, STERILISER, STORE, TRAY, TRAY_NAME, WASHER, open_unit
from tests.day_by_requests import Unit, first_processing, give_tray, plan, use, worker
from tests.e2e.day import Desk, attach, evidence, pass_indicator, symbol_on

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

STARTS = "07:45"
"""When the case begins that waits for the tray: the first of fixtures/list.csv."""
PATIENCE_MS = 20_000
LOOK_TAKES_MS = 2_100  # two reads within two seconds count as one


class Morning(NamedTuple):
    """What the unit holds when the day on the pages begins: the pack that is out, and every piece by its part."""

    pack: str
    by_part: dict[str, list[str]]
    inside: list[str]
    tomorrow: date

    @property
    def lost(self) -> str:
        """The piece that will not come back."""
        return self.by_part["SU-30"][0]

    def on_list(self) -> Iterator[str]:
        """A piece for each place of the tray's list, in the order of the register."""
        spare = {self.lost, *self.by_part["SH-A90"], self.by_part["FO-G25"][-1]}
        return (piece for pieces in self.by_part.values() for piece in pieces if piece not in spare)


@pytest.fixture
def morning(live_server: LiveServer, tmp_path: Path) -> Iterator[Morning]:
    """The unit at work: its tray was processed for the first time and is open at a case of this morning."""
    now = timezone.localtime()
    today, tomorrow = now.date(), now.date() + timedelta(days=1)
    open_unit(tmp_path, tomorrow)
    with worker(tmp_path):
        unit = Unit(live_server.url)
        pack, by_part = first_processing(unit)
        case = plan(unit, "T-0001", now)
        give_tray(unit, today, "T-0001")
        use(unit, pack, case)
        inside = [row["piece"] for row in unit.see("tech1", f"packs/{pack}/")["contents"]]
        yield Morning(pack, by_part, inside, tomorrow)


@pytest.fixture
def desk(page: Page, live_server: LiveServer) -> Iterator[Desk]:
    """A workplace, patient enough for a machine that has more to do."""
    page.set_viewport_size({"width": 1280, "height": 1000})
    expect.set_options(timeout=PATIENCE_MS)
    yield Desk(page, live_server.url)
    expect.set_options(timeout=None)


def the_case_waits(desk: Desk, morning: Morning) -> str:
    """The coordinator gives the tray to tomorrow's first case, which then waits for it; the case's code."""
    desk.sign_in("coord1")
    desk.look()
    desk.go(f"/lists/{morning.tomorrow}/")
    row = desk.page.get_by_role("row").filter(has_text=STARTS)
    expect(row).to_contain_text("Not planned")
    desk.look()
    case = row.get_by_role("link").first.inner_text()
    row.get_by_role("link").first.click()
    desk.page.locator("summary").filter(has_text="Choose").click()
    desk.page.get_by_label(f"{TRAY_NAME} {TRAY}").check()
    desk.look()
    desk.press("Choose this one")
    expect(desk.page.locator("main")).to_contain_text("Complete by")
    desk.look()
    return case


def a_piece_is_missing(desk: Desk, morning: Morning) -> None:
    """The set comes back; what is not there stands under Still open at once, and in the answer to the closed count."""
    desk.sign_in("tech1")
    desk.work("Return")
    desk.take(morning.pack, f"{TRAY_NAME} {morning.pack} is back from case")
    for piece in morning.inside:
        if piece != morning.lost:
            desk.take(piece, f"{piece} counted")
    still_open = desk.page.locator("#still-open")
    expect(still_open).to_contain_text(f"1 of {len(morning.inside)} still to be counted")
    expect(still_open.get_by_role("listitem")).to_contain_text([morning.lost])
    desk.look()
    desk.press("Close the count: 1 piece is missing")
    desk.hears(f"The count of {morning.pack} is closed: 1 missing: {morning.lost}.")


def the_worker_tells(desk: Desk, morning: Morning) -> None:
    """The timetable's job has run: the missing piece is a notice."""
    app.send_task("lists.tasks.watch_cases")
    notice = desk.page.get_by_role("link", name=f"{morning.lost} is missing")
    desk.go("/notices/")
    for _ in range(20):
        if notice.is_visible():
            break
        desk.page.wait_for_timeout(250)
        desk.page.reload()
    expect(notice).to_be_visible()
    desk.look()
    desk.go("/scan/")
    desk.look()


def the_rest_is_washed(desk: Desk) -> str:
    """The set goes through the washer; its record is judged by A0, and somebody releases it; the load's code."""
    desk.work("Load a washer")
    desk.take(WASHER, "is open on Washer 1")
    desk.take(TRAY, "pieces")
    desk.page.get_by_label("Caps are off, ports and taps are open").check()
    desk.look()
    desk.press("Start the load")
    desk.hears("runs on")
    desk.work("Unload a washer")
    desk.take(WASHER, "comes out of Washer 1")
    desk.page.get_by_label("As programmed").check()
    desk.look()
    desk.press("Unload L")
    desk.page.get_by_role("link", name="Go to load").click()
    attach(desk, "washer_good")
    desk.told("Numbers within limits: yes")
    expect(evidence(desk, "Thermal disinfection")).to_contain_text("A0 5005")  # rounded down
    desk.look()
    return released(desk, "release1")


def released(desk: Desk, name: str) -> str:
    """A releasing person finds the load that waits, looks at it and signs; the load's code."""
    desk.sign_in(name)
    desk.go("/loads/")
    desk.look()
    desk.page.locator(".load-strip").first.click()
    signed(desk, PASSWORD)
    desk.told("is released")
    return code_of(desk)


def signed(desk: Desk, password: str) -> None:
    """The person at the page of a load signs its release."""
    form = desk.step("Release load")
    form.get_by_label("Your password").fill(password)
    desk.press("Release load", form)


def code_of(desk: Desk) -> str:
    """Code of the thing whose page is open."""
    return desk.page.url.rstrip("/").rsplit("/")[-1]


def the_pieces_are_inspected(desk: Desk, morning: Morning) -> None:
    """Each piece is looked at: the first is scanned again, for the others the results are entered."""
    desk.sign_in("tech2")
    desk.work("Inspect")
    first, *others = [piece for piece in morning.inside if piece != morning.lost]
    desk.take(first, f"{first}: look at it.")
    desk.look()
    desk.page.wait_for_timeout(LOOK_TAKES_MS)
    desk.take(first, f"{first} inspected")
    for piece in others:
        desk.take(piece, f"{piece}: look at it.")
        for test in desk.page.locator("#asks").get_by_label("Passed").all():
            test.check()
        desk.page.locator("#asks .button-main").click()
        desk.hears(f"{piece} inspected")


def two_mistakes_are_found(desk: Desk, morning: Morning) -> str:
    """A sheath of another size, a seal that lacks: told at once, both put right, the tray finished; its pack."""
    by_part = morning.by_part
    (sheath,), (other,), (seal,) = by_part["SH-A80"], by_part["SH-A90"], by_part["SE-A85"]
    desk.sign_in("nurse1")
    desk.work("Assemble")
    desk.scan(TRAY)
    expect(desk.page.get_by_role("heading", name=TRAY_NAME)).to_be_visible()
    desk.look()
    for piece in morning.on_list():
        if piece not in (sheath, seal):
            desk.take(piece, f"{piece} on {TRAY_NAME}")
    desk.take(other, f"{other} on {TRAY_NAME}")
    still_open = desk.page.locator(".still-open")
    expect(still_open).to_contain_text(f"sheath {other} is of size 9.0, must be of size 8.0.")
    expect(still_open).to_contain_text("1 to put right, 2 to lay")
    expect(still_open).to_contain_text("ADULT 8.0 sheath")
    expect(still_open).to_contain_text("ADULT 8.5 seal")
    expect(desk.page.get_by_role("button", name="Finish tray")).to_be_disabled()
    desk.look()
    desk.page.get_by_role("link", name=other).first.click()
    desk.press("Take off the tray")
    desk.hears(f"{other} taken off")
    for piece in (sheath, seal):
        desk.take(piece, f"{piece} on {TRAY_NAME}")
    expect(still_open).to_contain_text("Every line is filled")
    desk.look()
    desk.press("Finish tray")
    desk.told(f"{TRAY_NAME} packed as")
    return code_of(desk)


def the_label_is_read(desk: Desk, pack: str, folder: Path) -> None:
    """The label is printed; its symbol says the pack's code, and is scanned back."""
    desk.look()
    symbol = symbol_on(desk.printed("Print label", folder / "label.pdf"))
    assert symbol == pack
    desk.scan(symbol)
    expect(desk.page.locator("#paper")).to_contain_text(f"The label of {TRAY_NAME} {pack} can be read")


def in_a_steriliser(desk: Desk, machine: str, pack: str, trace: str) -> None:
    """A pack through a steriliser by the person at the desk, up to the evidence for the decision."""
    desk.work("Load a steriliser")
    desk.take(machine, "runs 2 programmes")
    desk.press("Steam 134 °C, 3 min")
    desk.hears("is open on")
    desk.take(pack, f"{pack} is in")
    desk.page.get_by_label("Caps are off, ports and taps are open").check()
    desk.look()
    desk.press("Start the load")
    desk.hears("runs on")
    desk.work("Unload a steriliser")
    desk.take(pack, "comes out of")
    desk.look()
    desk.press("Unload L")
    desk.page.get_by_role("link", name="Go to load").click()
    desk.look()
    pass_indicator(desk)
    attach(desk, trace)


def superheated_steam_is_not_released(desk: Desk, morning: Morning) -> None:
    """A high F0 is no proof: the record is outside its limits, nobody can sign a release, the load is rejected."""
    piece = morning.by_part["FO-G25"][-1]
    desk.work("Assemble")
    desk.take(piece, piece)
    desk.look()
    desk.press("Pack it by itself")
    desk.hears("packed as")
    pack = desk.page.locator("#asks").get_by_role("link").inner_text().split()[-1]
    desk.sign_in("tech1")
    in_a_steriliser(desk, OTHER_STERILISER, pack, "steam_134_superheated")
    desk.told("Numbers within limits: no")
    expect(evidence(desk, "F0, base 121.1 °C, z 10 K")).to_contain_text("378.3 min")  # rounded down
    expect(desk.page.locator("main")).to_contain_text("Suspect superheated steam")
    desk.look()
    desk.sign_in("release1")
    desk.go("/loads/")
    desk.page.locator(".load-strip").first.click()
    expect(desk.page.get_by_role("button", name="Release load")).to_be_disabled()
    expect(desk.page.locator(".why-not").first).to_contain_text("must be every number within limits")
    form = desk.step("Reject load")
    form.get_by_label("Reason").fill("superheated steam")
    form.get_by_label("Your password").fill(PASSWORD)
    desk.press("Reject load", form)
    desk.told("is rejected")
    desk.look()


def a_second_person_releases(desk: Desk, pack: str) -> str:
    """Whoever built the good load alone is asked why nobody else is there; another signs. The load's code."""
    desk.sign_in("release2")
    in_a_steriliser(desk, STERILISER, pack, "steam_134_good")
    desk.told("Numbers within limits: yes")
    expect(evidence(desk, "Difference from saturated steam")).to_contain_text("Within limits")
    desk.look()
    signed(desk, PASSWORD)
    expect(desk.step("Release load").get_by_label("Why nobody else can release it")).to_be_focused()
    desk.sign_in("release1")
    desk.go("/loads/")
    desk.page.locator(".load-strip").first.click()
    signed(desk, "not-the-password")
    desk.told("Cannot sign as Releasing person 1")
    signed(desk, PASSWORD)
    desk.told("is released")
    desk.look()
    return code_of(desk)


def it_is_stored(desk: Desk, pack: str) -> None:
    """The pack goes on its shelf."""
    desk.sign_in("tech1")
    desk.work("Store")
    desk.take(STORE, "packs go here from now on")
    desk.take(pack, f"{pack} is in Sterile store A.")
    desk.look()


def the_case_is_ready(desk: Desk, morning: Morning) -> None:
    """The case that waited is complete on tomorrow's list."""
    desk.sign_in("coord1")
    desk.go("/lists/")
    desk.look()
    desk.page.locator(f"a[href='/lists/{morning.tomorrow}/']").first.click()
    row = desk.page.get_by_role("row").filter(has_text=STARTS)
    expect(row.locator(".day-verdict")).to_have_text("Complete")
    desk.look()


def it_is_used(desk: Desk, case: str, pack: str) -> None:
    """A nurse issues the pack to the case and opens it."""
    desk.sign_in("nurse1")
    desk.work("Issue to a case")
    desk.take(case, f"Case {case}")
    desk.take(pack, "look at its barrier")
    desk.look()
    desk.press("Intact: issue it")
    desk.hears(f"{pack} is issued to case {case}")
    desk.work("Open for a case")
    desk.take(pack, f"{pack} is open for case {case}")
    desk.look()


def the_trail_tells(desk: Desk, case: str, wash_load: str, load: str, morning: Morning) -> None:
    """From the case to each load and each piece; from a piece to the case; from there to the load."""
    desk.sign_in("quality1")
    desk.go(f"/cases/{case}/")
    desk.page.locator("summary").filter(has_text=f"What was in {TRAY_NAME}").click()
    pieces = list(morning.on_list())
    assert len(pieces) == len(morning.inside)
    for code in (wash_load, load, *pieces):
        expect(linked(desk, code)).to_be_visible()
    desk.look()
    linked(desk, pieces[0]).click()
    expect(linked(desk, case)).to_be_visible()
    expect(linked(desk, wash_load)).to_be_visible()
    desk.look()
    linked(desk, load).click()
    expect(desk.page.get_by_role("heading", name=f"Load {load}")).to_be_visible()


def linked(desk: Desk, code: str) -> Locator:
    """The first link that says this code."""
    return desk.page.locator("main").get_by_role("link", name=code, exact=True).first


def it_turns_up(desk: Desk, morning: Morning) -> None:
    """The missing piece is found in the linen, and scanned."""
    desk.sign_in("tech1")
    desk.work("Return")
    desk.take(morning.lost, "was missing and is found")


def test_a_day_in_the_browser(desk: Desk, morning: Morning, tmp_path: Path) -> None:
    case = the_case_waits(desk, morning)
    a_piece_is_missing(desk, morning)
    the_worker_tells(desk, morning)
    wash_load = the_rest_is_washed(desk)
    the_pieces_are_inspected(desk, morning)
    pack = two_mistakes_are_found(desk, morning)
    the_label_is_read(desk, pack, tmp_path)
    superheated_steam_is_not_released(desk, morning)
    load = a_second_person_releases(desk, pack)
    it_is_stored(desk, pack)
    the_case_is_ready(desk, morning)
    it_is_used(desk, case, pack)
    the_trail_tells(desk, case, wash_load, load, morning)
    it_turns_up(desk, morning)
    assert desk.visited <= desk.looked_at | {"about:blank"}
    assert desk.strays == []
    assert desk.complaints == []
