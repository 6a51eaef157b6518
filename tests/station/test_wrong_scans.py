"""Wrong scans at the stations, each with the exact sentence that the person sees."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.apps import apps

from instruments.identity import check_character, own_code
from instruments.models import PartKind, Piece
from instruments.states import PieceState
from journal.models import Line, Place
from lists import actions as list_actions
from reprocessing import actions as load_actions
from tests import makers
from tests.lists import makers as theatre
from tests.lists.makers import NOON
from tests.makers import act
from tests.reprocessing import makers as machines
from tests.station.desk import Clock, Station
from trays import actions as tray_actions
from trays.models import Pack

pytestmark = pytest.mark.django_db

Wrong = tuple[list[str], str]
"""What is scanned, the wrong scan last; and what the person is told of it."""


def flipped(code: str) -> str:
    """The code with a check character that does not fit."""
    return code[:-1] + ("0" if code[-1] != "0" else "1")


def empty() -> Wrong:
    return [""], "Cannot read the mark: it is empty, must hold at least one character."


def spaces() -> Wrong:
    return ["   "], "Cannot read the mark: it is empty, must hold at least one character."


def too_long() -> Wrong:
    return ["7" * 201], "Cannot read the mark: it has 201 characters, must have at most 200."


def too_long_for_an_engraving() -> Wrong:
    found = "it follows no known standard and has 61 characters, must have at most 60."
    return ["ab-" * 20 + "c"], f"Cannot read the mark: {found}"


def control_character() -> Wrong:
    found = "character 1 is U+0000 (no printed character)"
    expected = "must be a letter, a digit, a sign of the keyboard or the separator U+001D."
    return ["\x00K000001"], f"Cannot read the mark: {found}, {expected}"


def wrong_check_character() -> Wrong:
    # Check character of K000001 by ISO/IEC 7064 MOD 37,36, as python-stdnum gives it: see test_identity.
    right = own_code("K", 1)
    wrong = flipped(right)
    return [wrong], f"Cannot read the code {wrong}: its check character is {wrong[-1]}, must be {right[-1]}."


def too_many_zeros() -> Wrong:
    body = "K00000001"
    code = body + check_character(body)
    return [code], f"Cannot read the code {code}: it has too many zeros, must be {own_code('K', 1)}."


def unknown_pack() -> Wrong:
    code = own_code("K", 999)
    return [code], f"Cannot find pack {code}: no pack of the unit has this code."


def unknown_piece() -> Wrong:
    code = own_code("P", 999_999)
    return [code.lower()], f"Cannot find piece {code}: no piece of the unit has this code."


def unknown_engraving() -> Wrong:
    return ["QM77/9"], "Cannot find QM77/9: nothing of the unit carries this mark."


def unknown_device() -> Wrong:
    mark = "(01)09506000134352(21)77"  # item number: the example of the GS1 General Specifications
    return [mark], f"Cannot find {mark}: nothing of the unit carries this mark."


def item_number_alone() -> Wrong:
    return ["09506000134352"], (
        "The mark does not name one piece: it gives gtin 09506000134352, must give a serial as well."
    )


def item_number_misread() -> Wrong:
    # Modulo 10 of the GS1 General Specifications: 2 for 0950600013435, as in their example.
    return ["(01)09506000134353(21)77"], "Cannot read the mark: the check digit of 09506000134353 is 3, must be 2."


def separator_lost() -> Wrong:
    found = "ends like a further date (11261127), and the mark holds no separator: one may have been lost."
    return ["]d201095060001343521026112711261127"], f"The lot 26112711261127 {found}"


def separator_missing() -> Wrong:
    rest = "X" * 5
    found = f"after (10) {'X' * 20} it holds {rest!r}, must hold a separator (U+001D) there."
    return ["0109506000134352" + "10" + "X" * 20 + rest], f"Cannot read the mark: {found}"


def supplier_label_misread() -> Wrong:
    # The sample of the FDA's UDI format sheet ends in its check character 8.
    sample = "+A99912345/$$52025010X3/16D20111212/S77DEFG45"
    return [f"{sample}A"], "Cannot read the mark: its check character is A, must be 8."


def two_things_of_one_mark() -> Wrong:
    makers.piece(marks=("SHELF-9",))
    Place.objects.create(code="SHELF-9", name="Shelf 9")
    piece = Piece.objects.get()
    found = f"it stands for a piece ({piece.part.name} {piece.code}) and a place (Shelf 9 SHELF-9)"
    return ["shelf-9"], f"Cannot tell what shelf-9 is: {found}, must stand for one thing."


def badge_for_a_pack() -> Wrong:
    person = makers.person(badge=own_code("B", 7))
    return [str(person.badge)], f"Cannot take {person.badge} here: it is a badge, must be a pack, a tray or a piece."


def pack_on_the_shelf_comes_back() -> Wrong:
    pack = theatre.sterile()
    return [pack.code], f"Cannot take back {pack.code}: it is sterile, it must be with a case."


def tray_that_is_not_out() -> Wrong:
    tray = makers.tray(name="Adult tray A")
    return [tray.code], f"Cannot take back Adult tray A {tray.code}: no pack of it is with a case, one must be."


def piece_counted_twice() -> Wrong:
    pack = theatre.opened()
    code = theatre.pieces_of(pack)[0].code
    return [code, code], f"Cannot count {code} again: it was counted for {pack.code} on Tue 24-Nov-2026 12:30."


def piece_that_was_not_used() -> Wrong:
    code = makers.piece().code
    return [code], f"Cannot count {code}: it is inspected and in no pack, must be in use."


def single_use_piece_comes_back() -> Wrong:
    part = makers.part(single_use=True, name="Biopsy trap")
    pack = theatre.opened(theatre.sterile(makers.single(makers.piece(part))))
    code = theatre.pieces_of(pack)[0].code
    return [code], f"Cannot count {code} (Biopsy trap): it is single use and was opened, must not be used again."


def machine_at_inspection() -> Wrong:
    code = machines.washer().code
    return [code], f"Cannot take {code} here: it is a machine, must be a piece."


def returned_piece_at_inspection() -> Wrong:
    code = makers.piece(state=PieceState.RETURNED).code
    return [code], f"Cannot inspect {code}: it is returned, must be cleaned or inspected."


def list_at_the_bench() -> Wrong:
    code = makers.template().code
    return [code], f"Cannot take {code} here: it is a template, must be a tray, a piece or a pack."


def soiled_piece_at_the_bench() -> Wrong:
    code = makers.piece(state=PieceState.CLEANED).code
    return [code], f"Cannot put on tray {code}: it is cleaned, must be inspected."


def label_of_a_sterile_pack_read_back() -> Wrong:
    code = theatre.sterile().code
    return [code], f"Cannot read back the label of {code}: it is sterile, must be assembled."


def place_at_the_washer() -> Wrong:
    code = makers.place().code
    found = "it is a place, must be a machine, a load, a pack, a tray or a piece."
    return [code], f"Cannot take {code} here: {found}"


def set_before_the_washer() -> Wrong:
    pack = theatre.returned()
    return [pack.code], f"Cannot put {pack.name} {pack.code} into a load: none is open here, one must be."


def steriliser_for_a_washer() -> Wrong:
    machine = machines.machine(name="Steriliser 1")
    return [machine.code], "Cannot load Steriliser 1 here: it is a steam steriliser, must be a washer-disinfector."


def load_that_runs() -> Wrong:
    load = machines.running(machines.load(machines.washer(), makers.piece(state=PieceState.RETURNED)))
    return [load.code], f"Cannot add to {load.code}: it is running, must be building."


def sterile_set_into_the_washer() -> Wrong:
    pack = theatre.sterile()
    found = "none of its pieces is returned, at least one must be."
    return [machines.washer().code, pack.code], f"Cannot wash {pack.code}: {found}"


def sterile_pack_into_the_steriliser() -> Wrong:
    pack = theatre.sterile()
    return [machines.machine().code, pack.code], f"Cannot load {pack.code}: it is sterile, must be assembled."


def empty_tray_into_the_steriliser() -> Wrong:
    tray = makers.tray(name="Adult tray A")
    sentence = f"Cannot load Adult tray A {tray.code}: it is not packed, must be assembled."
    return [machines.machine().code, tray.code], sentence


def idle_steriliser() -> Wrong:
    machine = machines.machine(name="Steriliser 1")
    return [machine.code], f"Cannot unload Steriliser 1 {machine.code}: no load of it is running, one must be."


def load_that_was_released() -> Wrong:
    load = machines.released()
    return [load.code], f"Cannot unload {load.code}: it is released, must be running."


def washer_at_the_steriliser_side() -> Wrong:
    load = machines.running(machines.load(machines.washer(name="Washer 1"), makers.piece(state=PieceState.RETURNED)))
    return [load.code], "Cannot unload Washer 1 here: it is a washer-disinfector, must be a steriliser."


def unreleased_pack_on_the_shelf() -> Wrong:
    pack = makers.pack()
    return [makers.place().code, pack.code], f"Cannot store {pack.code}: it is assembled, must be sterile."


def quarantined_pack_on_the_shelf() -> Wrong:
    pack = theatre.sterile()
    tray_actions.quarantine_pack(pack.code, reason="wet", act=act())
    return [makers.place().code, pack.code], f"Cannot store {pack.code}: it is quarantined, must be sterile."


def pack_without_a_case() -> Wrong:
    pack = theatre.sterile()
    return [pack.code], f"Cannot issue {pack.code}: no case is chosen here, one must be."


def case_that_is_over() -> Wrong:
    case = theatre.case_of(theatre.opened())
    list_actions.end_case(case.code, act=act(at=NOON))
    return [case.code], f"Cannot issue for case {case.code}: it is ended, must be planned or under way."


def quarantined_pack_for_a_case() -> Wrong:
    pack = theatre.sterile()
    tray_actions.quarantine_pack(pack.code, reason="wet", act=act())
    return [theatre.case().code, pack.code], f"Cannot issue {pack.code}: it is quarantined, must be sterile."


def expired_pack_for_a_case() -> Wrong:
    pack = theatre.sterile()
    Pack.objects.filter(pk=pack.pk).update(use_by=NOON - timedelta(days=1))
    found = "its use-by date was 23-Nov-2026, it must be in date."
    return [theatre.case().code, pack.code], f"Cannot issue {pack.code}: {found}"


def recalled_pack_for_a_case() -> Wrong:
    pack = theatre.sterile()
    load = pack.load_packs.get().load
    load_actions.recall_load(load.code, reason="positive indicator", act=act(at=NOON))
    return [theatre.case().code, pack.code], f"Cannot issue {pack.code}: it is recalled, must be sterile."


def pack_of_another_case() -> Wrong:
    pack, case = theatre.sterile(), theatre.case()
    assert pack.tray is not None
    other = theatre.case(pack.tray.template, starts_at=NOON + timedelta(hours=2))
    list_actions.allocate(theatre.need(other).pk, tray=pack.tray.code, act=act())
    scans = [case.code, pack.code, pack.code]
    return scans, f"Cannot issue {pack.code}: it is to serve case {other.code}, must be free or given a reason."


def scanned_twice_at_once() -> Wrong:
    code = makers.piece(state=PieceState.CLEANED).code
    return [code, code], f"Cannot take {code} as looked at: it was scanned twice within 2 seconds."


def sterile_pack_opened() -> Wrong:
    pack = theatre.sterile()
    return [pack.code], f"Cannot open {pack.code}: it is sterile, must be issued to a case."


def pack_opened_for_another_case() -> Wrong:
    pack, other = theatre.issued(), theatre.case()
    own = theatre.case_of(pack)
    found = f"it was issued to case {own.code}, must be opened for that one."
    return [other.code, pack.code], f"Cannot open {pack.code}: {found}"


def forceps_that_is_not_in_use() -> Wrong:
    code = makers.piece(makers.part(PartKind.FORCEPS)).code
    return [code], f"Cannot set aside {code}: it is inspected, must be in use."


WRONG: list[tuple[str, Callable[[], Wrong]]] = [
    ("return", empty),
    ("return", spaces),
    ("return", too_long),
    ("return", too_long_for_an_engraving),
    ("return", control_character),
    ("return", wrong_check_character),
    ("return", too_many_zeros),
    ("return", unknown_pack),
    ("return", unknown_piece),
    ("return", unknown_engraving),
    ("inspect", unknown_device),
    ("inspect", item_number_alone),
    ("inspect", item_number_misread),
    ("inspect", separator_lost),
    ("inspect", separator_missing),
    ("inspect", supplier_label_misread),
    ("store", two_things_of_one_mark),
    ("return", badge_for_a_pack),
    ("return", pack_on_the_shelf_comes_back),
    ("return", tray_that_is_not_out),
    ("return", piece_counted_twice),
    ("return", piece_that_was_not_used),
    ("return", single_use_piece_comes_back),
    ("inspect", machine_at_inspection),
    ("inspect", returned_piece_at_inspection),
    ("inspect", scanned_twice_at_once),
    ("assemble", list_at_the_bench),
    ("assemble", soiled_piece_at_the_bench),
    ("assemble", label_of_a_sterile_pack_read_back),
    ("wash-in", place_at_the_washer),
    ("wash-in", set_before_the_washer),
    ("wash-in", steriliser_for_a_washer),
    ("wash-in", load_that_runs),
    ("wash-in", sterile_set_into_the_washer),
    ("sterilise-in", sterile_pack_into_the_steriliser),
    ("sterilise-in", empty_tray_into_the_steriliser),
    ("sterilise-out", idle_steriliser),
    ("sterilise-out", load_that_was_released),
    ("sterilise-out", washer_at_the_steriliser_side),
    ("store", unreleased_pack_on_the_shelf),
    ("store", quarantined_pack_on_the_shelf),
    ("issue", pack_without_a_case),
    ("issue", case_that_is_over),
    ("issue", quarantined_pack_for_a_case),
    ("issue", expired_pack_for_a_case),
    ("issue", recalled_pack_for_a_case),
    ("issue", pack_of_another_case),
    ("open", sterile_pack_opened),
    ("open", pack_opened_for_another_case),
    ("open", forceps_that_is_not_in_use),
]


@pytest.mark.parametrize(("mode", "case"), WRONG, ids=lambda value: getattr(value, "__name__", value))
def test_a_wrong_scan_says_why_and_changes_nothing(mode: str, case: Callable[[], Wrong], clock: Clock) -> None:
    scans, sentence = case()
    station = Station(mode, clock)
    for text in scans[:-1]:
        assert station.scan(text)["result"] != "stop"
    lines = trail()
    answer = station.scan(scans[-1], after_s=1 if case is scanned_twice_at_once else 5)
    assert (answer["result"], answer["what"]) == ("stop", sentence)
    assert answer["next_step"]
    assert trail() == lines


def trail() -> int:
    """How many lines the trail has."""
    return sum(model._default_manager.count() for model in apps.get_models() if issubclass(model, Line))
