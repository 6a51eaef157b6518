"""Each kind of work as it should go, scan by scan, and what a station looks at without stopping."""

from __future__ import annotations

from datetime import timedelta

import pytest

from instruments import actions as instrument_actions
from instruments.models import FunctionTest, PartKind, Piece
from instruments.states import PieceState
from journal.models import Receipt
from lists import actions as list_actions
from lists.models import CaseLine, Issue
from reprocessing import actions as load_actions
from reprocessing.models import Load
from reprocessing.states import LoadState
from tests import makers
from tests.lists import makers as theatre
from tests.lists.makers import NOON
from tests.makers import act
from tests.reprocessing import makers as machines
from tests.station.desk import Clock, Station
from trays.models import Pack, Tray
from trays.states import PackState

pytestmark = pytest.mark.django_db


def tray_of(pieces: int) -> Tray:
    """A tray whose list asks for so many different pieces."""
    return makers.tray(makers.template(*(makers.part(name=f"Part {n}") for n in range(1, pieces + 1))), name="Tray A")


# Return


def test_a_set_comes_back_and_the_missing_piece_is_named_at_once(clock: Clock) -> None:
    pack = theatre.opened(theatre.sterile(tray_of(3)))
    first, second, third = theatre.pieces_of(pack)
    station = Station("return", clock)
    assert pack.tray is not None
    case = theatre.case_of(pack)
    answer = station.scan(pack.tray.code)
    assert (answer["result"], answer["what"]) == ("taken", f"Tray A {pack.code} is back from case {case.code}.")
    assert answer["next_step"] == "3 of 3 pieces still to be counted."
    station.scan(first.code)
    answer = station.scan(third.code)
    assert answer["what"] == f"Part 3 {third.code} counted."
    assert station.open == [f"Part 2 {second.code}"]
    assert station.shown.title == "1 of 3 still to be counted"
    answer = station.press("close", reason="looked for in the linen")
    assert (answer["result"], answer["what"]) == (
        "look",
        f"The count of {pack.code} is closed: 1 missing: {second.code}.",
    )
    assert Piece.objects.get(pk=second.pk).state == PieceState.MISSING
    assert station.held == {}


def test_the_last_piece_closes_the_count(clock: Clock) -> None:
    pack = theatre.returned()
    station = Station("return", clock)
    answer = station.scan(theatre.pieces_of(pack)[0].code)
    assert answer["next_step"] == f"The count of {pack.code} is closed: nothing is missing."
    assert station.held == {}


def test_a_piece_counted_before_its_pack_waits_for_the_pack(clock: Clock) -> None:
    pack = theatre.opened()
    station = Station("return", clock)
    answer = station.scan(theatre.pieces_of(pack)[0].code)
    assert answer["next_step"] == f"Every piece is counted. Scan {pack.code} itself."
    close = station.shown.buttons[0]
    assert close.why_not == f"Cannot close the count of {pack.code}: it is opened, must be returned."
    assert station.scan(pack.code)["next_step"] == f"The count of {pack.code} is closed: nothing is missing."


def test_a_piece_of_another_set_is_counted_and_looked_at(clock: Clock) -> None:
    ours, theirs = theatre.returned(theatre.sterile(tray_of(2))), theatre.returned()
    station = Station("return", clock)
    assert station.scan(ours.code)["what"] == f"{ours.name} {ours.code} is back already."
    stray = theatre.pieces_of(theirs)[0]
    answer = station.scan(stray.code)
    also = f"It belongs to {theirs.name} {theirs.code}, not to {ours.code}: look whether the sets were mixed."
    assert (answer["result"], answer["also"]) == ("look", (also,))
    assert Piece.objects.get(pk=stray.pk).state == PieceState.RETURNED


def test_a_missing_piece_is_found_by_its_scan(clock: Clock) -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    instrument_actions.miss(piece.code, reason="not on the trolley", act=act())
    assert Station("return", clock).scan(piece.code)["result"] == "taken"
    assert Piece.objects.get(pk=piece.pk).state == PieceState.RETURNED


def test_an_unopened_pack_goes_back_when_it_is_scanned_again(clock: Clock) -> None:
    pack = theatre.issued()
    station = Station("return", clock)
    answer = station.scan(pack.code)
    assert (answer["result"], answer["asks"]) == ("look", True)
    assert Pack.objects.get(pk=pack.pk).state == PackState.ISSUED
    assert station.scan(pack.code)["result"] == "taken"
    assert Pack.objects.get(pk=pack.pk).state == PackState.STERILE


def test_an_unopened_pack_with_a_torn_barrier_is_counted_as_used(clock: Clock) -> None:
    pack = theatre.issued()
    station = Station("return", clock)
    station.scan(pack.code)
    assert station.press("not-intact")["next_step"] == "1 of 1 pieces still to be counted."
    assert station.held == {"pack": pack.code}


@pytest.mark.parametrize(("press", "verb"), [("implanted", "implant"), ("discard", "waste_implant")])
def test_an_implant_is_implanted_or_discarded_by_record(press: str, verb: str, clock: Clock) -> None:
    pack = theatre.opened(makers.maker_pack(theatre.implant(name="Stent")))
    code = theatre.pieces_of(pack)[0].code
    station = Station("return", clock)
    assert station.scan(code)["result"] == "stop"
    assert [button.label for button in station.shown.buttons][:2] == ["Implanted in this case", "Discard it"]
    station.press(press, reason="touched the floor")
    assert Piece.objects.get(code=code).state == PieceState.WITHDRAWN
    assert CaseLine.objects.filter(case=theatre.case_of(pack), verb=verb, evidence__piece=code).count() == 1


# Washers and sterilisers


def test_a_washer_is_loaded_and_started(clock: Clock) -> None:
    pack = theatre.returned(theatre.sterile(tray_of(2)))
    for piece in theatre.pieces_of(pack):
        list_actions.count_piece(piece.code, act=act(at=NOON))
    loose = makers.piece(state=PieceState.RETURNED)
    washer = machines.washer(name="Washer 1")
    station = Station("wash-in", clock)
    answer = station.scan(washer.code)
    load = Load.objects.get(machine=washer)
    assert answer["what"] == f"{load.code} is open on Washer 1, Programme W90."
    assert station.open == [f"Tray A {pack.code}: 2 pieces", "1 piece that came with no set"]
    assert station.shown.buttons[0].why_not == f"Cannot start {load.code}: it is empty, must hold something."
    assert station.scan(pack.code)["what"] == f"{load.code} holds 2 pieces of Tray A."
    assert station.scan(loose.code)["result"] == "taken"
    assert station.open == []
    assert station.press("start", cycle_number="41")["what"] == (
        f"Cannot start {load.code}: caps, ports and taps are not confirmed open, must be."
    )
    assert station.press("start", cycle_number="41", caps_open="yes")["result"] == "taken"
    load.refresh_from_db()
    assert (load.state, load.cycle_number, station.held) == (LoadState.RUNNING, "41", {})


def test_sets_that_wait_too_long_stand_first_and_say_so(clock: Clock) -> None:
    early = theatre.returned(theatre.sterile(tray_of(1)), at=NOON - timedelta(minutes=45))
    late = theatre.returned(theatre.sterile(tray_of(1)), at=NOON)
    for pack in (late, early):
        list_actions.count_piece(theatre.pieces_of(pack)[0].code, act=act(at=NOON))
    station = Station("wash-in", clock)
    station.scan(machines.washer().code)
    assert [(item.word, item.fact.split()[2]) for item in station.shown.items] == [
        ("Overdue", f"{early.code}:"),
        ("Returned", f"{late.code}:"),
    ]


def test_a_washer_is_unloaded_with_its_record(clock: Clock) -> None:
    load = machines.running(machines.load(machines.washer(), makers.piece(state=PieceState.RETURNED)))
    station = Station("wash-out", clock)
    assert station.scan(load.machine.code)["what"] == f"{load.code} comes out of {load.machine.name}."
    assert station.press("unload", dosing="yes")["result"] == "taken"
    load.refresh_from_db()
    assert (load.state, load.dosing_recorded) == (LoadState.AWAITING_RELEASE, True)
    assert station.scan(load.code)["what"] == f"{load.code} is out already and waits for its decision."


def test_a_steriliser_asks_for_its_programme_and_takes_packs(clock: Clock) -> None:
    machine = machines.machine(name="Steriliser 1", programmes=[makers.programme("S121", name="Steam 121 °C")])
    pack = makers.pack(tray_of(1))
    station = Station("sterilise-in", clock)
    assert station.scan(machine.code)["what"] == "Steriliser 1 runs 2 programmes."
    assert [button.label for button in station.shown.buttons] == ["Steam 121 °C", "Programme S134"]
    assert station.press("programme", programme="S134")["result"] == "taken"
    assert station.open == [f"Tray A {pack.code}"]
    assert pack.tray is not None
    answer = station.scan(pack.tray.code)
    assert (answer["result"], answer["what"]) == ("look", f"{pack.name} {pack.code} is in {answer['mark']}.")
    assert f"The label of {pack.name} {pack.code} was not read back at the bench." in answer["also"][0]
    assert station.press("start", caps_open="yes")["result"] == "taken"
    assert Pack.objects.get(pk=pack.pk).state == PackState.IN_STERILISER


def test_a_machine_out_of_service_is_said_when_its_load_is_opened(clock: Clock) -> None:
    washer = machines.washer(name="Washer 1")
    load_actions.take_out_of_service(washer.code, reason="door seal", act=act())
    answer = Station("wash-in", clock).scan(washer.code)
    code = Load.objects.get().code
    assert answer["result"] == "look"
    assert answer["also"] == (
        f"Cannot start {code}: Washer 1 is out of service, must be in service. Use another machine.",
    )


def test_a_wet_pack_is_named_on_unloading(clock: Clock) -> None:
    dry, wet = makers.pack(), makers.pack()
    load = machines.running(machines.load(None, dry, wet))
    station = Station("sterilise-out", clock)
    station.scan(wet.code)
    assert [code for code, _ in station.shown.buttons[0].fields[0].options] == [dry.code, wet.code]
    station.press("unload", wet=[wet.code])
    assert [Pack.objects.get(pk=pack.pk).state for pack in (dry, wet)] == [PackState.AWAITING_RELEASE, PackState.VOID]
    assert station.shown.links[0][0] == f"Go to load {load.code}"


# Inspection and assembly


def test_scanned_again_means_clean_and_working(clock: Clock) -> None:
    part = makers.part(PartKind.TELESCOPE, function_test=True, name="Telescope")
    piece = makers.piece(part, state=PieceState.CLEANED)
    station = Station("inspect", clock)
    answer = station.scan(piece.code)
    assert answer["next_step"] == "Clean, function test passed: scan it again. If not, say so below."
    assert station.shown.points[0].startswith("Image clear to the edge")
    assert Piece.objects.get(pk=piece.pk).state == PieceState.CLEANED
    assert station.scan(piece.code)["result"] == "taken"
    assert Piece.objects.get(pk=piece.pk).state == PieceState.INSPECTED
    assert FunctionTest.objects.get(piece=piece).passed


def test_a_second_scan_is_no_insulation_test(clock: Clock) -> None:
    piece = makers.piece(makers.part(PartKind.FORCEPS, insulated=True), state=PieceState.CLEANED)
    station = Station("inspect", clock)
    station.scan(piece.code)
    answer = station.scan(piece.code)
    assert (answer["result"], answer["next_step"]) == ("look", "Enter the result of its insulation test below.")
    assert Piece.objects.get(pk=piece.pk).state == PieceState.CLEANED
    station.press("clean", insulation="passed")
    assert Piece.objects.get(pk=piece.pk).insulation_ok is True


@pytest.mark.parametrize(
    ("press", "fields", "state"),
    [
        ("soiled", {}, PieceState.RETURNED),
        ("repair", {"reason": "hinge stiff"}, PieceState.IN_REPAIR),
        ("clean", {"function": "failed"}, PieceState.IN_REPAIR),
    ],
)
def test_what_is_not_in_order_is_said_by_a_button(
    press: str, fields: dict[str, str], state: PieceState, clock: Clock
) -> None:
    piece = makers.piece(makers.part(function_test=True), state=PieceState.CLEANED)
    station = Station("inspect", clock)
    station.scan(piece.code)
    station.press(press, **fields)
    assert Piece.objects.get(pk=piece.pk).state == state


def test_a_tray_leads_to_its_bench(clock: Clock) -> None:
    tray = makers.tray()
    station = Station("assemble", clock)
    station.clock.wait(5)
    response = station.client.post("/scan/assemble/", {"code": tray.code})
    assert response.headers["HX-Redirect"] == f"/trays/{tray.code}/bench/"


def test_a_piece_in_hand_names_the_trays_that_want_it(clock: Clock) -> None:
    part = makers.part()
    wants, full, packed = (makers.tray(makers.template(part), name=f"Tray {n}") for n in "ABC")
    makers.lay(full)
    makers.pack(packed)
    piece = makers.piece(part)
    station = Station("assemble", clock)
    assert station.scan(piece.code)["what"] == f"{part.name} {piece.code}: Tray A wants it."
    assert station.open == [wants.name]
    answer = station.press("single")
    assert answer["result"] == "taken"
    assert Station("assemble", clock).scan(answer["mark"])["next_step"] == "Bring it to the steriliser."


# Store and theatre


def test_a_place_stays_for_the_packs_that_follow(clock: Clock) -> None:
    packs = [theatre.sterile() for _ in range(3)]
    shelf, other = makers.place("Shelf 1"), makers.place("Shelf 2")
    station = Station("store", clock)
    for code in (shelf.code, packs[0].code, packs[1].code, other.code, packs[2].code):
        assert station.scan(code)["result"] == "taken"
    places = [Pack.objects.get(pk=pack.pk).place for pack in packs]
    assert places == [shelf, shelf, other]


def test_a_pack_in_hand_names_its_own_place(clock: Clock) -> None:
    packs = [theatre.sterile() for _ in range(2)]
    shelves = [makers.place("Shelf 1"), makers.place("Shelf 2")]
    station = Station("store", clock)
    for pack, shelf in zip(packs, shelves, strict=True):
        assert station.scan(pack.code)["asks"]
        assert station.scan(shelf.code)["result"] == "taken"
    assert [Pack.objects.get(pk=pack.pk).place for pack in packs] == shelves


def test_a_pack_is_issued_when_it_is_scanned_again(clock: Clock) -> None:
    pack = theatre.sterile(tray_of(1))
    assert pack.tray is not None
    case = theatre.case(pack.tray.template)
    station = Station("issue", clock)
    station.scan(case.code.lower())
    assert station.open == [str(pack.tray.template)]
    assert station.scan(pack.code)["what"] == f"Tray A {pack.code}: look at its barrier."
    assert not Issue.objects.exists()
    assert station.scan(pack.code)["what"] == f"Tray A {pack.code} is issued to case {case.code}."
    assert (station.open, station.held) == ([], {"case": case.code})


def test_a_pack_with_a_torn_barrier_is_quarantined_at_issue(clock: Clock) -> None:
    pack = theatre.sterile()
    station = Station("issue", clock)
    station.scan(theatre.case().code)
    station.scan(pack.code)
    assert station.press("damaged")["next_step"] == "Take another pack for the case."
    assert Pack.objects.get(pk=pack.pk).state == PackState.QUARANTINED


def test_a_pack_of_another_case_is_issued_with_its_reason(clock: Clock) -> None:
    pack, case = theatre.sterile(), theatre.case()
    assert pack.tray is not None
    other = theatre.case(pack.tray.template, starts_at=NOON + timedelta(hours=2))
    list_actions.allocate(theatre.need(other).pk, tray=pack.tray.code, act=act())
    station = Station("issue", clock)
    for code in (case.code, pack.code, pack.code):
        station.scan(code)
    assert [field.name for field in station.shown.buttons[0].fields] == ["reason"]
    answer = station.press("issue", reason="emergency")
    assert answer["result"] == "look"
    assert answer["also"][0] == f"{pack.code} was to serve case {other.code}. Find another for {other.code}."


def test_a_pack_is_opened_for_the_case_that_has_it(clock: Clock) -> None:
    pack = theatre.issued(makers.maker_pack(theatre.implant(name="Stent")))
    case = theatre.case_of(pack)
    station = Station("open", clock)
    assert station.scan(pack.code)["what"] == f"Stent {pack.code} is open for case {case.code}."
    stent = theatre.pieces_of(pack)[0]
    assert station.scan(stent.code)["what"] == f"Stent {stent.code} is open."
    assert station.shown.points == ("Lot LOT-1.",)
    assert station.press("implanted")["what"] == f"Stent {stent.code} implanted in case {case.code}."


# What holds for every kind of work


def test_a_retired_mark_still_finds_its_piece_and_says_so(clock: Clock) -> None:
    piece = makers.piece(marks=("OLD-1",), state=PieceState.CLEANED)
    instrument_actions.add_mark(piece.code, "NEW-1", replaces=True, act=act())
    answer = Station("inspect", clock).scan("OLD-1")
    assert answer["mark"] == piece.code
    remedy = "Scan its new mark from now on, and have the old one struck out."
    assert answer["also"] == (f"The mark OLD-1 of {piece.code} has been replaced. {remedy}",)


def test_a_scan_sent_again_gets_its_answer_again_and_counts_once(clock: Clock) -> None:
    pack = theatre.returned(theatre.sterile(tray_of(2)))
    first, second = theatre.pieces_of(pack)
    station = Station("return", clock)
    answer = station.scan(first.code, key="scan-1")
    assert station.scan(second.code, key="scan-2")["result"] == "taken"
    again = station.scan(first.code, key="scan-1")
    assert (again["result"], again["what"]) == ("taken", answer["what"])
    assert station.shown.title == "Packs that are out"


def test_a_scan_whose_answer_was_lost_with_the_session_counts_once(clock: Clock) -> None:
    pack = theatre.returned(theatre.sterile(tray_of(2)))
    first = theatre.pieces_of(pack)[0]
    station = Station("return", clock)
    station.scan(first.code, key="scan-1")
    session = station.client.session
    del session["scan"]
    session.save()
    again = station.scan(first.code, key="scan-1")
    assert (again["result"], again["mark"]) == ("taken", first.code)
    assert Receipt.objects.filter(key="scan-1").count() == 1


def test_a_button_on_an_old_page_changes_nothing(clock: Clock) -> None:
    answer = Station("return", clock).press("close")
    assert (answer["result"], answer["what"]) == (
        "stop",
        "Cannot answer: the station no longer holds what was asked about.",
    )
