"""Pages of loads: what waits, what is in a load, how it is filled, started, unloaded, and its evidence."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from instruments.identity import own_code
from instruments.states import PieceState
from journal.roles import Role
from reprocessing.models import Load
from reprocessing.states import LoadKind, LoadState, MachineKind
from tests import makers
from tests.reprocessing import makers as make
from tests.reprocessing.pages import Browser, disabled, machine_of_today, page, running_now
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db
TRACES = Path(__file__).parents[2] / "fixtures" / "traces"


@pytest.fixture
def technician() -> Browser:
    return Browser(make.technician())


@pytest.fixture
def nurse() -> Browser:
    return Browser(makers.person(Role.NURSE))


def queries(browser: Browser, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        browser.read(address)
    return len(seen)


# The list


def test_the_longest_waiting_load_stands_first_and_says_how_long(technician: Browser) -> None:
    short, long = running_now(makers.pack()), running_now(makers.pack())
    make.ended(short, at=timezone.now() - timedelta(minutes=5))
    make.ended(long, at=timezone.now() - timedelta(minutes=50, seconds=5))
    text = technician.read("/loads/")
    assert "waits 50min" in text
    assert text.index(long.code) < text.index(short.code) < text.index("Building or running")


def test_a_load_that_waits_too_long_asks_for_a_look(technician: Browser) -> None:
    make.ended(running_now(makers.pack()), at=timezone.now() - timedelta(minutes=10))
    assert "load-strip is-look" not in technician.source("/loads/")
    make.policy("waiting_decision_min", 5)
    assert "load-strip is-look" in technician.source("/loads/")


def test_loads_stand_in_three_groups_with_what_they_hold(technician: Browser) -> None:
    building, running, decided = make.load(None, makers.pack()), running_now(makers.pack()), make.released()
    text = technician.read("/loads/")
    groups = [text.index(words) for words in ("Building or running", building.code, "Open a load", decided.code)]
    assert groups == sorted(groups)
    assert f"Building {building.code} {building.machine}, {building.programme} · 1 pack" in text
    assert f"Running {running.code}" in text


def test_older_decisions_are_a_page_away(technician: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("reprocessing.views.loads.A_PAGE", 1)
    older, newer = make.released(), make.released()
    assert (newer.code in technician.read("/loads/"), older.code in technician.read("/loads/")) == (True, False)
    assert older.code in technician.read("/loads/?page=2")


def test_who_is_not_signed_in_sees_no_load() -> None:
    load = make.load(None, makers.pack())
    for address in ("/loads/", page(load), "/machines/", f"/machines/{load.machine.code}/"):
        answer = Client().get(address)
        assert (answer.status_code, answer["Location"]) == (302, f"/sign-in/?next={address}")


def test_the_list_asks_no_more_questions_of_more_loads(technician: Browser) -> None:
    def some() -> None:
        make.load(None, makers.pack())
        make.ended(running_now(makers.pack()), at=timezone.now())
        make.released()

    some()
    technician.read("/loads/")
    few = queries(technician, "/loads/")
    some()
    some()
    assert queries(technician, "/loads/") == few


# A new load


def test_a_load_is_opened_by_the_button_of_its_programme(technician: Browser) -> None:
    machine = make.machine()
    assert 'value="' + f"{machine.code} S134" in technician.source("/loads/")
    text = technician.send("/loads/open/", open=f"{machine.code} S134", kind="routine")
    load = Load.objects.get()
    assert (load.machine, load.state) == (machine, LoadState.BUILDING)
    assert f"Load {load.code} Building" in text
    assert "Scan what goes in." in text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "holiday"}, "Cannot take “Load”: it is none of the answers"),
        ({"kind": "routine", "open": ""}, "Cannot take “Machine and programme”: it is not recorded"),
        ({"kind": "routine", "open": "M9 S134"}, "Cannot find machine M9"),
        ({"kind": "routine", "open": "x" * 61}, "it has 61 characters, must have at most 60"),
    ],
)
def test_a_load_that_cannot_be_opened_is_refused_in_words(
    technician: Browser, fields: dict[str, str], words: str
) -> None:
    machine = make.machine()
    fields = {"open": f"{machine.code} S134", "back": "/loads/", **fields}
    assert words in technician.send("/loads/open/", **fields)
    assert not Load.objects.exists()


def test_who_may_not_open_a_load_is_told_why(nurse: Browser) -> None:
    machine = make.machine()
    assert f"Cannot open a load of {machine.name}: your sign-in does not hold" in nurse.read("/loads/")
    assert "Programme S134 on " + machine.name in disabled(nurse.source("/loads/"))
    text = nurse.send("/loads/open/", open=f"{machine.code} S134", kind="routine", back="/loads/")
    assert "does not hold the right “sterilise”" in text
    assert not Load.objects.exists()


def test_immediate_use_is_offered_only_where_the_unit_allows_it(technician: Browser) -> None:
    quick = makers.programme("S134I", immediate=True)
    make.machine(programmes=[quick])
    assert quick.name not in technician.read("/loads/")
    make.policy("immediate_use", value=True)
    assert quick.name in technician.read("/loads/")


# What goes in


def test_a_pack_is_put_in_by_its_mark_or_its_trays(technician: Browser) -> None:
    first, second = makers.pack(), makers.pack()
    load = make.load()
    assert f"{first.name} {first.code} is in {load.code}." in technician.send(
        page(load) + "add-pack/", mark=first.code
    )
    assert second.tray is not None
    technician.send(page(load) + "add-pack/", mark=f" {second.tray.code.lower()} ")
    assert set(load.load_packs.values_list("pack__code", flat=True)) == {first.code, second.code}
    text = technician.read(page(load))
    assert "Contents 2 of 8 packs" in text
    assert f"In steriliser {first.name} {first.code}" in text


def test_a_piece_is_put_in_by_any_of_its_marks(technician: Browser) -> None:
    piece = makers.piece(state=PieceState.RETURNED, marks=("ENGRAVED 77",))
    load = make.load(make.washer())
    assert "is in" in technician.send(page(load) + "add-piece/", mark="engraved 77")
    assert load.load_pieces.get().piece == piece
    technician.send(page(load) + "take-out/", piece=piece.code)
    technician.send(page(load) + "add-piece/", mark=piece.code)
    assert f"Loose pieces: 1 piece In washer {piece.part.name} {piece.code}" in technician.read(page(load))


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        ("nothing has this", "Cannot find piece nothing has this"),
        ("", "it is not recorded, must be stated"),
        ("K0000019", "its check character is 9"),
        (own_code("B", 1), "it is a badge, must be a piece, a pack or a tray"),
    ],
)
def test_what_goes_into_no_load_is_refused_in_words(technician: Browser, mark: str, words: str) -> None:
    load = make.load()
    assert words in technician.send(page(load) + "add-pack/", mark=mark)
    assert not load.load_packs.exists()


def test_a_tray_that_is_not_packed_is_not_loaded(technician: Browser) -> None:
    tray, load = makers.tray(), make.load()
    assert f"Cannot load {tray.code}: it is not packed" in technician.send(page(load) + "add-pack/", mark=tray.code)


def test_a_pack_is_taken_off_again(technician: Browser) -> None:
    pack = makers.pack()
    load = make.load(None, pack)
    assert f"{pack.code} is off {load.code}" in technician.send(page(load) + "take-off/", pack=pack.code)
    assert Pack.objects.get().state == PackState.ASSEMBLED


def test_a_test_load_says_why_nothing_goes_in(technician: Browser) -> None:
    load = make.load(kind=LoadKind.TEST)
    assert f"Cannot load {load.code}: the load is no routine load" in technician.read(page(load))
    assert "Put pack in" in disabled(technician.source(page(load)))


def test_a_page_asks_no_more_questions_of_more_packs(technician: Browser) -> None:
    few, many = make.load(None, makers.pack()), make.load(None, *(makers.pack() for _ in range(6)))
    technician.read(page(few))
    assert queries(technician, page(few)) == queries(technician, page(many))


def test_a_page_asks_no_more_questions_of_more_pieces_and_lines(technician: Browser) -> None:
    def washed(number: int) -> Load:
        return make.load(make.washer(), *(makers.piece(state=PieceState.RETURNED) for _ in range(number)))

    few, many = washed(1), washed(6)
    technician.read(page(few))
    assert queries(technician, page(few)) == queries(technician, page(many))


# Start and end


def test_a_washers_load_shows_its_longest_wait_since_a_return(technician: Browser) -> None:
    piece = makers.piece()
    for verb in ("pack", "use", "take_back"):
        makers.move(piece, verb)
    piece.refresh_from_db()
    text = technician.read(page(make.load(make.washer(), piece)))
    assert f"min since the return of {piece.code}; the unit allows 60 min" in text
    assert "Over Pre-clean again by hand, inspect closely" in text


def test_a_load_is_started_once_caps_are_confirmed_open(technician: Browser) -> None:
    load = make.load(machine_of_today(), makers.pack())
    assert "caps, ports and taps are not confirmed open" in technician.send(page(load) + "start/", cycle_number="4711")
    text = technician.send(page(load) + "start/", cycle_number="4711", caps_open="on")
    assert f"{load.code} runs on {load.machine.name}." in text
    load.refresh_from_db()
    assert (load.state, load.cycle_number, load.caps_open) == (LoadState.RUNNING, "4711", True)


def test_a_load_that_cannot_start_says_what_stands_against_it(technician: Browser, nurse: Browser) -> None:
    load = make.load(make.machine(tested=False))
    text = technician.read(page(load))
    assert "the steam penetration test of" in text
    assert f"Cannot start {load.code}: it is empty" in text
    assert "Start load" in disabled(technician.source(page(load)))
    assert f"Cannot start {load.code}: your sign-in does not hold the right “sterilise”" in nurse.read(page(load))


def test_every_pack_is_looked_at_on_unloading(technician: Browser) -> None:
    dry, wet = makers.pack(), makers.pack()
    load = running_now(dry, wet)
    text = technician.send(page(load) + "unload/", **{dry.code: "intact"})
    assert f"Cannot take “{wet.name} {wet.code}”: it is not recorded" in text
    technician.send(page(load) + "unload/", **{dry.code: "intact", wet.code: "wet"})
    states = {pack.code: pack.state for pack in Pack.objects.all()}
    assert states == {dry.code: PackState.AWAITING_RELEASE, wet.code: PackState.VOID}
    text = technician.read(page(load))
    assert f"1 dry and whole; ended: {wet.code} wet" in text
    assert "Wet on unloading" in text


def test_a_washers_own_record_is_asked_for_and_can_follow_later(technician: Browser) -> None:
    load = running_now(makers.piece(state=PieceState.RETURNED), kind=MachineKind.WASHER)
    technician.send(page(load) + "unload/")
    load.refresh_from_db()
    assert load.state == LoadState.RUNNING
    technician.send(page(load) + "unload/", dosing="later")
    assert "missing: Cycle record, Phase and dosing record." in technician.read(page(load))
    technician.send(page(load) + "dosing/", recorded="no")
    assert "Phase and dosing record A fault As programmed Not within limits" in technician.read(page(load))
