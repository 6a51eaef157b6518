"""What goes wrong with a cycle, walked in the browser by who meets it: each ends with its consequence on the page."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import FilePayload, Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from instruments.models import PartKind
from instruments.states import PieceState
from journal.models import Person
from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Load, Recall, Trace
from reprocessing.recall_states import RecallState
from reprocessing.states import LoadState, MachineState
from tests import makers
from tests.e2e.test_station import PASSWORD, check, sign_in
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import machine_of_today, running_now
from trays.models import Pack
from trays.states import PackState

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


class Desk:
    """A browser in which whoever is named works."""

    def __init__(self, page: Page, site: str) -> None:
        self.page, self.site = page, site

    def work(self, *roles: Role) -> Desk:
        """Sign somebody in who holds these roles."""
        person: Person = makers.person(*roles)
        person.set_password(PASSWORD)
        person.save()
        self.page.context.clear_cookies()
        sign_in(self.page, self.site, person.username)
        return self

    def go(self, address: str) -> None:
        """Open a page, and have axe look at it."""
        self.page.goto(f"{self.site}{address}")
        check(self.page, address)

    def step(self, name: str) -> Locator:
        """The form whose button says so."""
        return self.page.locator("form").filter(has=self.page.get_by_role("button", name=name, exact=True))

    def press(self, name: str, *, signed: bool = False, **fields: str) -> None:
        """Fill that form, sign it when it is to be signed, and press its button."""
        form = self.step(name)
        for label, value in fields.items():
            form.get_by_label(re.compile(label.replace("_", " "), re.IGNORECASE)).first.fill(value)
        if signed:
            form.get_by_label("Your password").fill(PASSWORD)
        form.get_by_role("button", name=name, exact=True).click()

    def says(self, words: str) -> None:
        """The page says so."""
        expect(self.page.locator("main")).to_contain_text(words)

    def attach(self, content: str) -> None:
        """Give the machine's record of the cycle."""
        file: FilePayload = {"name": "cycle.csv", "mimeType": "text/csv", "buffer": content.encode()}
        form = self.step("Attach record")
        form.locator("[type=file]").set_input_files(file)
        form.get_by_role("button", name="Attach record").click()


@pytest.fixture
def desk(page: Page, live_server: LiveServer) -> Desk:
    return Desk(page, live_server.url)


def pieces_of(pack: Pack) -> set[str]:
    return set(pack.contents.values_list("piece__state", flat=True))


def again(thing: Any) -> Any:
    return type(thing).objects.get(pk=thing.pk)


def test_an_aborted_cycle_is_rejected_while_it_runs_and_its_packs_are_made_anew(desk: Desk) -> None:
    load = running_now(makers.pack())
    pack = Pack.objects.get()
    desk.work(Role.RELEASER).go(f"/loads/{load.code}/")
    desk.press("Reject load", signed=True, reason="aborted in the heat-up, steam failed")
    desk.says("aborted in the heat-up, steam failed")
    check(desk.page, "an aborted load")
    assert again(load).state == LoadState.REJECTED
    assert again(pack).state == PackState.VOID
    assert pieces_of(pack) == {PieceState.INSPECTED}  # back to assembly: unwrapped, checked, wrapped anew


def test_a_wet_pack_ends_on_unloading_and_the_others_wait_for_the_release(desk: Desk) -> None:
    wet, dry = makers.pack(), makers.pack()
    load = running_now(wet, dry)
    desk.work(Role.TECHNICIAN).go(f"/loads/{load.code}/")
    form = desk.step("Unload")
    for pack, found in ((wet, re.compile("Wet")), (dry, re.compile("Dry"))):
        form.get_by_role("group", name=re.compile(pack.code)).get_by_label(found).check()
    form.get_by_role("button", name="Unload", exact=True).click()
    expect(desk.page.locator(".members")).to_contain_text(re.compile("Wet"))
    check(desk.page, "a load with a wet pack")
    assert (again(wet).state, again(dry).state) == (PackState.VOID, PackState.AWAITING_RELEASE)
    assert pieces_of(wet) == {PieceState.RETURNED}


def test_a_positive_indicator_forbids_the_release_and_drafts_the_recall(desk: Desk) -> None:
    on = make.machine()
    earlier = make.released(make.load(on, makers.pack()))
    load = make.complete(make.load(on, makers.pack()))
    desk.work(Role.RELEASER).go(f"/loads/{load.code}/")
    desk.step("Place indicator").get_by_label("Biological").check()
    desk.press("Place indicator", lot="BI-9")
    read = desk.step("Record reading")
    read.get_by_label("Failed").check()
    read.get_by_role("button", name="Record reading").click()
    expect(read).to_have_count(0)
    expect(desk.page.get_by_role("button", name="Release load")).to_be_disabled()
    check(desk.page, "a load with a positive indicator")
    draft = Recall.objects.get()
    assert (draft.state, draft.machine) == (RecallState.DRAFT, on)
    assert again(earlier).state == LoadState.RELEASED  # a draft calls nothing back
    desk.go(f"/recalls/{draft.code}/")
    desk.says(earlier.code)
    desk.go(f"/loads/{load.code}/")
    desk.press("Reject load", signed=True, reason="biological indicator positive")
    desk.says("biological indicator positive")
    assert again(load).state == LoadState.REJECTED


def test_an_implant_goes_out_by_its_form_and_a_later_positive_names_the_case(desk: Desk) -> None:
    stent = makers.piece(makers.part(PartKind.IMPLANT, reprocess_unused="maker's sheet 4.2"))
    load = make.complete(make.load(None, makers.single(stent)))
    actions.place_indicator(load.code, "biological", "BI-3", act=act())
    desk.work(Role.RELEASER).go(f"/loads/{load.code}/")
    expect(desk.page.get_by_role("button", name="Release load")).to_be_disabled()
    desk.press(
        "Sign exceptional release",
        signed=True,
        implants="stent 14 × 40",
        Case="C77",
        asked_for="Operator, by role",
        cannot_wait="the airway is closing",
        avoided="a second stent in stock",
    )
    desk.says("stent 14 × 40")
    desk.press("Release load", signed=True)
    expect(desk.page.locator(".big-state")).to_contain_text("Released")
    check(desk.page, "an implant load that went out")
    read = desk.step("Record reading")
    read.get_by_label("Failed").check()
    read.get_by_role("button", name="Record reading").click()
    expect(read).to_have_count(0)
    draft = Recall.objects.get()
    desk.go(f"/recalls/{draft.code}/")
    desk.says("C77")


def test_a_load_whose_record_is_lost_is_not_released_and_goes_back_to_assembly(desk: Desk) -> None:
    load = make.ended()
    make.indicator(load, passed=True)
    pack = Pack.objects.get()
    desk.work(Role.RELEASER).go(f"/loads/{load.code}/")
    desk.says("Not recorded. Without the machine’s record a cycle is not shown to be within limits.")
    expect(desk.page.get_by_role("button", name="Release load")).to_be_disabled()
    desk.press("Reject load", signed=True, reason="the machine’s record is lost")
    desk.says("the machine’s record is lost")
    assert (again(pack).state, pieces_of(pack)) == (PackState.VOID, {PieceState.INSPECTED})


def test_the_same_record_again_is_told_and_kept_once(desk: Desk) -> None:
    load, content = make.ended(), make.steam_trace()
    desk.work(Role.TECHNICIAN).go(f"/loads/{load.code}/")
    desk.attach(content)
    desk.says("Numbers within limits")
    desk.attach(content)
    desk.says("received")
    assert Trace.objects.count() == 1
    other = make.ended()
    desk.go(f"/loads/{other.code}/")
    desk.attach(content)
    desk.says(load.code)
    check(desk.page, "a record that another load has")
    assert Trace.objects.count() == 1


def test_a_machine_that_fails_its_morning_test_starts_nothing_and_its_loads_are_in_doubt(desk: Desk) -> None:
    before = running_now(makers.pack())
    machine = before.machine
    waiting = Load.objects.get(code=actions.open_load(machine.code, "S134", act=act()).mark)
    actions.add_pack(waiting.code, makers.pack().code, act=act())
    desk.work(Role.TECHNICIAN).go(f"/machines/{machine.code}/")
    form = desk.step("Record test")
    form.get_by_label("Steam penetration").check()
    form.get_by_label("Failed").check()
    form.get_by_role("button", name="Record test", exact=True).click()
    desk.says("it is out of service")
    desk.says(f"In doubt {before.code}")
    check(desk.page, "a machine that failed")
    desk.go(f"/loads/{waiting.code}/")
    expect(desk.page.get_by_role("button", name="Start load")).to_be_disabled()
    desk.says("out of service")
    machine.refresh_from_db()
    assert machine.state == MachineState.OUT_OF_SERVICE
    assert again(waiting).state == LoadState.BUILDING
    assert machine_of_today().state == MachineState.IN_SERVICE  # another machine takes its place
