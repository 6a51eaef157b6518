"""The demo's list of tomorrow in a real browser: pressing first fixes makes every case ready that can be.

Ten cases with every kind of verdict. Of each case that is not ready the first fix is pressed, until none is left to
press; what needs hands is then done as its words say, and the list is read again. Which cases cannot be ready is
counted here from the register alone.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.db.models import Q
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from config.demo.unit import PASSWORD
from config.demo.work import Unit, assemble, inspect_all, sterilise, wash
from instruments.models import Piece
from instruments.states import PieceState
from journal.models import Person
from lists.models import Case
from tests.e2e.day import Desk
from trays.actions import expire_pack, scrap_pack
from trays.models import Carried, Pack, TemplateLine, Tray
from trays.states import VersionState

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_PRESSES = 20
PATIENCE_MS = 20_000
READY = re.compile(r"^\s*Complete")
BORROW = re.compile(
    r"Have (?P<name>.+) (?P<tray>T\w+) completed: (?:take (?P<off>.+) off it, )?put (?P<on>.+) on it\."
)
WASH = re.compile(r"Have (?P<name>.+) (?P<tray>T\w+) washed and packed again")
PIECE = re.compile(r"P\d{6}\w")
NOT_TO_BE_HAD = (
    PieceState.IN_REPAIR, PieceState.MISSING, PieceState.WITHDRAWN, PieceState.QUARANTINED, PieceState.ON_LOAN,
)  # fmt: skip


@pytest.fixture
def desk(page: Page, live_server: LiveServer) -> Iterator[Desk]:
    """A workplace of the demo unit."""
    call_command("load_demo", verbosity=0)
    page.set_viewport_size({"width": 1280, "height": 1000})
    expect.set_options(timeout=PATIENCE_MS)
    yield Desk(page, live_server.url, PASSWORD)
    expect.set_options(timeout=None)


def cannot_be_ready(case: Case) -> bool:
    """Whether some need of a case has fewer pieces in the whole unit than it takes, wherever they are."""
    for need in case.requirements.filter(essential=True):
        lines = TemplateLine.objects.filter(version__template=need.template, version__state=VersionState.PUBLISHED)
        wanted = [({need.part_id}, 1)] if need.part_id else [
            ({line.part_id, *line.substitutes.values_list("part", flat=True)}, line.quantity) for line in lines
        ]  # fmt: skip
        for parts, quantity in wanted:
            pieces = Piece.objects.filter(part__in=parts).exclude(state__in=NOT_TO_BE_HAD)
            if pieces.exclude(Q(loan__isnull=False) & Q(loan__instructions="")).count() < quantity:
                return True
    return False


def rows(desk: Desk, day: date) -> list[Locator]:
    """The rows of the day's cases."""
    desk.go(f"/lists/{day}/")
    return desk.page.locator(".day-table > tbody > tr").all()


def unready(desk: Desk, day: date) -> dict[str, Locator]:
    """The rows of the cases that are not ready, by the case's code."""
    return {
        row.locator(".day-case .code").inner_text(): row
        for row in rows(desk, day)
        if not READY.match(row.locator(".day-verdict").inner_text())
    }


def press_first_fixes(desk: Desk, day: date) -> list[str]:
    """The coordinator presses one first fix after the other, from the top; the sentences of what was pressed."""
    desk.sign_in("coord1")
    pressed: list[str] = []
    for _ in range(MOST_PRESSES):
        buttons = desk.page.locator(".fix-first button[name=fix]")
        rows(desk, day)
        if not buttons.count():
            return pressed
        pressed.append(buttons.first.inner_text().partition(": ")[2])
        buttons.first.click()
        desk.told(pressed[-1])
    raise AssertionError(pressed)


def undo_and_press_again(desk: Desk, day: date) -> None:
    """One press takes a fix back as if it had never been applied, and one applies it anew."""
    desk.sign_in("coord1")
    before = [row.inner_text() for row in rows(desk, day)]
    fix = desk.page.locator(".fix-first button[name=fix]").first
    words = fix.inner_text().partition(": ")[2]
    fix.click()
    desk.told(words)
    desk.page.locator("[data-notices]").get_by_role("button", name="Undo").click()
    desk.told("Undone for case")
    assert [row.inner_text() for row in rows(desk, day)] == before


def complete(desk: Desk, sentence: str) -> None:
    """A nurse takes the pieces off where they lie, scans them onto the tray, and finishes it."""
    asked = BORROW.match(sentence)
    assert asked is not None
    desk.sign_in("tech1")
    desk.go("/notices/")
    desk.page.get_by_role("link", name=sentence).click()
    desk.sign_in("nurse1")
    for code in PIECE.findall(f"{asked['off']} {asked['on']}"):
        lies_on = Tray.objects.filter(placements__piece__code=code).first()
        if lies_on is not None:
            desk.go(f"/trays/{lies_on.code}/bench/?piece={code}")
            desk.press("Take off the tray")
            desk.hears(f"{code} taken off")
    desk.work("Assemble")
    desk.scan(asked["tray"])
    expect(desk.page.get_by_role("heading", name=asked["name"])).to_be_visible()
    for code in PIECE.findall(asked["on"]):
        desk.take(code, f"{code} on {asked['name']}")
    desk.press("Finish tray")
    desk.told(f"{asked['name']} packed as")


def turn_round(unit: Unit, sentence: str) -> None:
    """A pack that is over goes back to the washer, and its tray is packed again."""
    asked = WASH.match(sentence)
    assert asked is not None
    tray = Tray.objects.get(code=asked["tray"])
    pack = Pack.objects.live().get(tray=tray)
    inside = list(Carried.objects.filter(pack=pack).values_list("piece", flat=True))
    expire_pack(pack.code, act=unit.act("tech1"))
    scrap_pack(pack.code, act=unit.act("tech1"))
    pieces = Piece.objects.filter(pk__in=inside).select_related("part")
    wash(unit, list(pieces))
    inspect_all(unit, pieces.all())
    assemble(unit, tray)


def do_the_work(desk: Desk, asked: list[str]) -> None:
    """What was asked of sterile services, up to the release of its load by somebody who did not build it."""
    done = []
    unit = Unit({row.username: row for row in Person.objects.all()}, timezone.now(), random.Random(1))
    for sentence in asked:
        if BORROW.match(sentence):
            complete(desk, sentence)
        else:
            turn_round(unit, sentence)
        done.append(Tray.objects.get(code=re.findall(r"T\w+", sentence)[0]))
    sterilise(unit, list(Pack.objects.live().filter(tray__in=done)), until="store")


def test_pressing_first_fixes_makes_every_case_ready_that_can_be(desk: Desk) -> None:
    tomorrow = timezone.localdate() + timedelta(days=1)
    undo_and_press_again(desk, tomorrow)
    pressed = press_first_fixes(desk, tomorrow)
    called = [sentence for sentence in pressed if sentence.startswith("Call for")]
    do_the_work(desk, [sentence for sentence in pressed if BORROW.match(sentence) or WASH.match(sentence)])
    assert press_first_fixes(desk, tomorrow) == []

    left = unready(desk, tomorrow)
    cases = Case.objects.filter(list__day=tomorrow)
    assert cases.count() == 10
    assert set(left) == {case.code for case in cases if cannot_be_ready(case)}
    assert {case.reference for case in cases if case.code in left} == {"L-0405", "L-0409"}
    for row in left.values():
        expect(row).to_contain_text("Asked of the coordinators: Call for a loan or a delivery: 1 × ")
        expect(row).to_contain_text("It waits for what was asked.")
    desk.go("/notices/")
    for sentence in called:
        expect(desk.page.get_by_role("link", name=sentence)).to_be_visible()
    assert len(called) == len(left)
    assert desk.strays == []
    assert desk.complaints == []
