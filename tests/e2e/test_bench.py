"""The assembly bench in a real browser: a tray is scanned together, what is wrong is said, put right, and finished."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from instruments.commands import Command
from instruments.models import Part, PartKind, Piece
from instruments.states import PieceState
from journal.roles import Role
from tests import makers
from tests.e2e.test_scanner import KEY_GAP_S, US_KEYS, us_key
from tests.e2e.test_station import check, nurse, sign_in
from trays.models import Pack, Tray
from trays.states import PackState

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def scan(page: Page, text: str) -> None:
    """A burst of the scanner; the times of its keys are stated, so that a busy machine makes no person of it."""
    keys, at = page.context.new_cdp_session(page), time.time()
    for key in [*map(us_key, text), US_KEYS["Enter"]]:
        at += KEY_GAP_S
        keys.send("Input.dispatchKeyEvent", {"type": "keyDown", **key, "timestamp": at})
        keys.send("Input.dispatchKeyEvent", {"type": "keyUp", **key, "text": "", "timestamp": at})


def parts() -> dict[str, Part]:
    """A barrel with its sheath and seal, a sheath of the next size, forceps, and a guard that may lack."""
    sizes = makers.series("8.0", "8.5", name="Adult")
    eight, next_size = (makers.size(sizes, label) for label in ("8.0", "8.5"))
    return {
        "barrel": makers.part(PartKind.BARREL, name="Barrel 8.0", size=eight),
        "sheath": makers.part(PartKind.SHEATH, name="Sheath 8.0", size=eight),
        "seal": makers.part(PartKind.SEAL, name="Seal 8.0", size=eight),
        "other sheath": makers.part(PartKind.SHEATH, name="Sheath 8.5", size=next_size),
        "forceps": makers.part(PartKind.FORCEPS, name="Forceps"),
        "guard": makers.part(name="Tooth guard"),
    }


def tray_of(of: dict[str, Part]) -> Tray:
    lines: list[Any] = [of["barrel"], of["sheath"], of["seal"], makers.line(of["forceps"], 2)]
    series = of["barrel"].size.series  # type: ignore[union-attr]
    rules = [makers.rule(series)]
    return makers.tray(makers.template(*lines, makers.line(of["guard"], essential=False), rules=rules), name="Tray 7")


def test_a_tray_is_scanned_together_put_right_and_finished(page: Page, live_server: LiveServer) -> None:
    of, person = parts(), nurse()
    tray = tray_of(of)
    piece = {name: makers.piece(part) for name, part in of.items()}
    second_forceps = makers.piece(of["forceps"])
    now, still_open = page.locator("#now"), page.locator(".still-open")
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/trays/{tray.code}/bench/")
    expect(now).to_contain_text("Scan 1 × Barrel 8.0.")

    # A scanner that does not wait: the wrong sheath among the others, and no seal
    for name in ("barrel", "other sheath", "forceps", "guard"):
        scan(page, piece[name].code)
    scan(page, second_forceps.code)
    expect(page.locator(".is-filled > li")).to_have_count(3, timeout=15_000)
    expect(still_open).to_contain_text(f"sheath {piece['other sheath'].code} is of size 8.5, must be of size 8.0.")
    expect(still_open).to_contain_text("Adult 8.0 sheath; seal")
    expect(still_open).to_contain_text("Not yet: 1 to put right, 2 to lay.")
    expect(page.get_by_role("button", name="Finish tray")).to_be_disabled()

    # Put right: the wrong one is tapped and taken off, the right one and the seal are scanned
    page.get_by_role("link", name=piece["other sheath"].code).click()
    page.get_by_role("button", name="Take off the tray").click()
    expect(now).to_contain_text(f"Sheath 8.5 {piece['other sheath'].code} taken off.")
    scan(page, piece["sheath"].code)
    scan(page, piece["seal"].code)
    expect(now).to_contain_text("Every line is filled. Finish the tray.")
    expect(still_open).to_contain_text("Nothing. Every line is filled")
    check(page, "bench")

    page.get_by_role("button", name="Finish tray").click()
    page.wait_for_url(f"{live_server.url}/packs/**")
    pack = Pack.objects.get(tray=tray)
    expect(page.locator("[data-notices]")).to_contain_text(f"Tray 7 packed as {pack.code}. Print the label")
    assert (pack.state, pack.contents.count()) == (PackState.ASSEMBLED, 6)
    the_label_closes_the_step(page, pack)


def until(true: Callable[[], bool]) -> None:
    """Wait until something is true; ten seconds at most."""
    end = time.monotonic() + 10
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def the_label_closes_the_step(page: Page, pack: Pack) -> None:
    """Enter prints it, once however often the page is loaded; it is scanned back at once."""
    paper = page.locator("#paper")
    expect(paper.get_by_role("button", name="Print label")).to_be_focused()
    with page.expect_popup():
        page.keyboard.press("Enter")
    printed = pack.lines.filter(verb="print_label")
    until(printed.exists)
    page.reload()
    expect(paper).to_contain_text("Label printed")
    expect(page.locator("#label-code")).to_be_focused()
    assert printed.count() == 1
    expect(paper).to_contain_text("Label not read back")
    scan(page, pack.code)
    expect(paper).to_contain_text(f"The label of Tray 7 {pack.code} can be read: its assembly is closed.")
    expect(paper).to_contain_text("Label read back")
    assert pack.lines.filter(verb="confirm_label").count() == 1


def test_what_may_lack_is_signed_by_a_scanned_badge(page: Page, live_server: LiveServer) -> None:
    of, person = parts(), nurse()
    second = makers.person(Role.TECHNICIAN, name="Technician 2")
    tray = tray_of(of)
    makers.lay(tray, *(makers.piece(of[name]) for name in ("barrel", "sheath", "seal", "forceps", "forceps")))
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/trays/{tray.code}/bench/")
    page.fill("#incomplete-reason", "guard in repair")
    scan(page, str(second.badge))
    expect(page.locator("#now")).to_contain_text("Second person: Technician 2.")
    expect(page.locator("#incomplete-reason")).to_have_value("guard in repair")
    expect(page.locator("#second")).to_have_value(str(second.badge))
    page.get_by_role("button", name="Finish tray").click()
    page.wait_for_url(f"{live_server.url}/packs/**")
    assert Pack.objects.get(tray=tray).incomplete_second == second


def test_forty_lines_at_five_scans_a_second_lose_none_and_keep_their_order(
    page: Page, live_server: LiveServer
) -> None:
    parts_of_forty = [makers.part() for _ in range(40)]
    tray, person = makers.tray(makers.template(*parts_of_forty)), nurse()
    codes = [makers.piece(part).code for part in reversed(parts_of_forty)]
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/trays/{tray.code}/bench/")
    for code in codes:
        scan(page, code)
        page.wait_for_timeout(200)
    expect(page.locator("#now")).to_contain_text("Every line is filled. Finish the tray.", timeout=60_000)
    expect(page.locator(".is-filled > li")).to_have_count(40)
    assert list(tray.placements.order_by("pk").values_list("piece__code", flat=True)) == codes


def test_a_faulty_piece_is_set_aside_in_two_scans(page: Page, live_server: LiveServer) -> None:
    of, person = parts(), nurse()
    tray = tray_of(of)
    makers.lay(tray, faulty := makers.piece(of["forceps"]))
    spare = makers.piece(of["forceps"], place=makers.place("Store A"))
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/trays/{tray.code}/bench/")
    scan(page, faulty.code)
    scan(page, Command.SET_ASIDE.code)
    now = page.locator("#now")
    expect(now).to_contain_text(f"Forceps {faulty.code} goes to repair.")
    expect(now).to_contain_text(f"Lacks now: 2 × Forceps. {spare.code} is in Store A.")
    faulty.refresh_from_db()
    assert faulty.state == PieceState.IN_REPAIR


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_pages_are_clean_for_axe_and_no_wider_than_the_screen(page: Page, live_server: LiveServer, width: int) -> None:
    of, person = parts(), nurse()
    tray = makers.lay(tray_of(of), *(makers.piece(of[name]) for name in ("barrel", "other sheath", "forceps")))
    wrong = Piece.objects.get(part=of["other sheath"])
    packed = makers.tray()
    makers.pack(packed)
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, person.username)
    for address in (
        "/trays/",
        f"/trays/{tray.code}/bench/",
        f"/trays/{tray.code}/bench/?piece={wrong.code}",
        f"/trays/{packed.code}/bench/",
    ):
        page.goto(f"{live_server.url}{address}")
        check(page, address)


def test_what_another_tab_printed_is_said_when_one_comes_back(page: Page, live_server: LiveServer) -> None:
    person, pack = nurse(), makers.pack()
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/packs/{pack.code}/")
    steps = page.locator("#paper-steps")
    expect(steps).to_contain_text("Label not printed")
    with page.expect_popup() as printed:
        page.get_by_role("button", name="Print label").click()
    printed.value.wait_for_url("**/printed/*.pdf", wait_until="commit")
    page.evaluate("window.dispatchEvent(new Event('focus'))")  # a browser without a screen tells no tab of it
    expect(steps).to_contain_text("Label printed")
    expect(steps).to_contain_text("Label not read back")
