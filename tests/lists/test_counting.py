"""A pack comes back, its pieces are counted, and whatever has not come back is found at once."""

from __future__ import annotations

from functools import partial

import pytest

from instruments import actions as instrument_actions
from instruments.models import PieceLine
from instruments.states import PieceState
from journal.roles import Role
from lists import actions
from lists.models import CaseLine, Issue
from lists.reads import count_sheet, still_to_count
from reprocessing import actions as reprocessing_actions
from reprocessing.states import IndicatorKind
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON
from tests.makers import act, refused
from tests.reprocessing import makers as make
from trays.models import Carried, Pack, PackLine
from trays.states import PackState

pytestmark = pytest.mark.django_db


def set_of(*quantities: int, out: str = "returned") -> Pack:
    """A pack of so many pieces of so many parts, back from its case or still there."""
    lines = [makers.line(makers.part(), quantity) for quantity in quantities]
    pack = m.sterile(makers.tray(makers.template(*lines)))
    return m.returned(pack) if out == "returned" else m.opened(pack)


def stent() -> Pack:
    """A maker-sterile implant, opened at a case."""
    implant = m.implant()
    return m.opened(makers.maker_pack(implant), m.case(implant))


def count(*codes: str) -> None:
    for code in codes:
        actions.count_piece(code, act=act(at=NOON))


# Taken back


def test_a_returned_pack_says_at_once_what_is_to_be_counted() -> None:
    pack = set_of(2, 1, out="opened")
    done = actions.take_back(pack.code, act=act(at=NOON))
    assert done.state == PackState.RETURNED
    assert done.sentence == (
        f"{pack.name} {pack.code} is back from case {m.case_of(pack).code}. 3 of 3 pieces are still to be counted."
    )
    (finding,) = done.findings
    assert finding["numbers"] == {"left": 3, "expected": 3}
    assert all(piece.code in finding["sentence"] for piece in m.pieces_of(pack))


def test_six_pieces_are_named_and_the_rest_are_numbered() -> None:
    (finding,) = still_to_count(set_of(8))
    assert finding.sentence.endswith(" and 2 more.")


def test_a_pack_is_taken_back_once_and_only_when_it_was_opened() -> None:
    assert refused(lambda: actions.take_back(m.returned().code, act=act(at=NOON))) == ["wrong-state"]
    assert refused(lambda: actions.take_back(m.issued().code, act=act(at=NOON))) == ["wrong-state"]
    assert refused(lambda: actions.take_back(m.sterile().code, act=act(at=NOON))) == ["not-with-a-case"]


# Counted


def test_each_piece_counted_is_returned_and_out_of_the_pack() -> None:
    pack = set_of(2)
    first, second = m.pieces_of(pack)
    done = actions.count_piece(first.code, act=act(at=NOON))
    assert done.state == PieceState.RETURNED
    assert "1 of 2 pieces are still to be counted." in done.sentence
    assert second.code in done.findings[0]["sentence"]
    assert [piece.code for piece in m.pieces_of(pack)] == [second.code]
    line = PieceLine.objects.get(piece=first, verb="take_back")
    assert line.evidence == {"pack": pack.code, "case": m.case_of(pack).code, "unused": False}


def test_the_last_piece_closes_the_count() -> None:
    pack = set_of(2)
    first, second = m.pieces_of(pack)
    count(first.code)
    assert not Issue.objects.get().ended
    done = actions.count_piece(second.code, act=act(at=NOON))
    assert done.sentence.endswith("The count is closed: nothing is missing.")
    assert done.next_step == "Bring them to be washed."
    row = Issue.objects.get()
    assert (row.ended, row.count_closed_at) == (True, NOON)
    for lines in (PackLine, CaseLine):
        assert lines.objects.get(verb="close_count").evidence["missing"] == []


def test_a_piece_dropped_in_the_case_may_be_counted_before_its_pack() -> None:
    pack = set_of(1, out="opened")
    (piece,) = m.pieces_of(pack)
    done = actions.count_piece(piece.code, act=act(at=NOON))
    assert done.sentence.endswith("the pack itself is still open.")
    assert not Issue.objects.get().ended
    closed = actions.take_back(pack.code, act=act(at=NOON))
    assert closed.sentence.endswith("The count is closed: nothing is missing.")
    assert (closed.next_step, Issue.objects.get().ended) == ("", True)


def test_what_is_in_no_pack_or_not_in_use_is_not_counted() -> None:
    loose, packed = makers.piece(), m.pieces_of(m.sterile())[0]
    assert refused(lambda: count(loose.code)) == ["not-in-use"]
    assert refused(lambda: count(packed.code)) == ["not-with-a-case"]
    issued = m.pieces_of(m.issued())[0]
    assert refused(lambda: count(issued.code)) == ["wrong-state"]
    assert refused(lambda: count("NOTHING")) == ["unknown-code"]


def test_counting_needs_its_right() -> None:
    pack = set_of(1)
    coordinator = act(makers.person(Role.COORDINATOR), at=NOON)
    (piece,) = m.pieces_of(pack)
    assert refused(lambda: actions.count_piece(piece.code, act=coordinator)) == ["right-missing"]
    assert refused(lambda: actions.close_count(pack.code, act=coordinator)) == ["right-missing"]


# Closed


def test_closing_the_count_names_each_missing_piece() -> None:
    pack = set_of(3)
    first, second, third = m.pieces_of(pack)
    count(first.code)
    done = actions.close_count(pack.code, reason="looked everywhere", act=act(at=NOON))
    assert done.sentence == f"The count of {pack.code} is closed: 2 missing: {second.code}, {third.code}."
    assert [(row["slug"], row["subject"]) for row in done.findings] == [
        ("piece-missing", second.code),
        ("piece-missing", third.code),
    ]
    for piece in (second, third):
        piece.refresh_from_db()
        assert piece.state == PieceState.MISSING
        assert PieceLine.objects.get(piece=piece, verb="not_come_back").reason == "looked everywhere"
    assert not Carried.objects.filter(pack=pack).exists()
    assert CaseLine.objects.get(verb="close_count").evidence == {
        "pack": pack.code,
        "missing": [second.code, third.code],
    }


def test_a_count_is_closed_once_and_only_when_the_pack_is_back() -> None:
    out = set_of(1, out="opened")
    assert refused(lambda: actions.close_count(out.code, act=act(at=NOON))) == ["wrong-state"]
    back = set_of(1)
    actions.close_count(back.code, act=act(at=NOON))
    assert refused(lambda: actions.close_count(back.code, act=act(at=NOON))) == ["not-with-a-case"]
    with pytest.raises(Exception, match="its count is closed"):
        actions.close_count(back.code, act=act(at=NOON))


def test_a_count_with_nothing_left_is_closed_by_its_last_piece_already() -> None:
    pack = set_of(1)
    (piece,) = m.pieces_of(pack)
    count(piece.code)
    assert refused(lambda: actions.close_count(pack.code, act=act(at=NOON))) == ["not-with-a-case"]


def test_a_missing_piece_that_is_found_is_returned() -> None:
    pack = set_of(1)
    (piece,) = m.pieces_of(pack)
    actions.close_count(pack.code, act=act(at=NOON))
    assert instrument_actions.find(piece.code, act=act(at=NOON)).state == PieceState.RETURNED


# The count sheet


def test_the_count_sheet_holds_expected_against_counted() -> None:
    pack = set_of(3)
    first, second, third = m.pieces_of(pack)
    count(second.code)
    sheet = count_sheet(pack)
    assert (sheet.pack, sheet.case, sheet.expected, sheet.closed) == (pack.code, m.case_of(pack).code, 3, False)
    assert [row.piece for row in sheet.to_count] == [first.code, third.code]
    actions.close_count(pack.code, act=act(at=NOON))
    sheet = count_sheet(pack)
    assert (sheet.closed, sheet.to_count) == (True, ())
    assert [row.outcome for row in sheet.rows] == ["missing", "counted", "missing"]


def test_a_pack_that_never_went_out_has_a_sheet_without_a_case() -> None:
    sheet = count_sheet(m.sterile())
    assert (sheet.case, sheet.closed, len(sheet.to_count)) == ("", False, 1)


# Single use


def test_a_single_use_item_is_discarded_with_a_reason() -> None:
    pack = m.opened(makers.maker_pack())
    (piece,) = m.pieces_of(pack)
    assert refused(lambda: count(piece.code)) == ["single-use"]
    assert refused(lambda: actions.discard_piece(piece.code, reason=" ", act=act(at=NOON))) == ["reason-missing"]
    assert actions.discard_piece(piece.code, reason="used", act=act(at=NOON)).state == PieceState.WITHDRAWN
    actions.take_back(pack.code, act=act(at=NOON))
    assert [row.outcome for row in count_sheet(pack).rows] == ["discarded"]
    assert not CaseLine.objects.filter(verb="waste_implant").exists()


def test_a_reusable_piece_is_not_discarded() -> None:
    (piece,) = m.pieces_of(set_of(1))
    assert refused(lambda: actions.discard_piece(piece.code, reason="old", act=act(at=NOON))) == ["reusable"]


# Implants


def test_an_implant_stays_in_the_patient_and_its_lot_on_the_case() -> None:
    pack = stent()
    (piece,) = m.pieces_of(pack)
    case = m.case_of(pack)
    done = actions.implant_piece(piece.code, case.code, act=act(at=NOON))
    assert (done.state, done.mark) == (PieceState.WITHDRAWN, piece.code)
    assert CaseLine.objects.get(case=case, verb="implant").evidence == {
        "piece": piece.code,
        "part": piece.part.code,
        "name": piece.part.name,
        "lot": "LOT-1",
        "serial": "",
        "expires": "2028-01-31",
    }
    actions.take_back(pack.code, act=act(at=NOON))
    assert [row.outcome for row in count_sheet(pack).rows] == ["implanted"]


def test_an_opened_implant_that_was_not_used_is_wasted_by_record() -> None:
    pack = stent()
    (piece,) = m.pieces_of(pack)
    assert refused(lambda: count(piece.code)) == ["single-use"]
    actions.discard_piece(piece.code, reason="too long", act=act(at=NOON))
    line = CaseLine.objects.get(verb="waste_implant")
    assert (line.case, line.reason, line.evidence["lot"]) == (m.case_of(pack), "too long", "LOT-1")


def test_only_an_implant_is_implanted_and_only_in_the_case_that_got_it() -> None:
    (barrel,) = m.pieces_of(pack := set_of(1, out="opened"))
    case = m.case_of(pack)
    assert refused(partial(actions.implant_piece, barrel.code, case.code, act=act(at=NOON))) == ["not-an-implant"]
    (piece,) = m.pieces_of(stent())
    assert refused(partial(actions.implant_piece, piece.code, case.code, act=act(at=NOON))) == ["other-case"]


def test_an_implant_without_lot_and_serial_is_recorded_and_asked_for() -> None:
    implant = m.implant()
    piece = makers.piece(implant)
    load = make.complete(make.load(None, makers.single(piece)))
    make.indicator(load, IndicatorKind.BIOLOGICAL, passed=True)
    reprocessing_actions.release(load.code, act=act(make.releaser(), at=make.DECIDED))
    pack = m.opened(Pack.objects.get(), m.case(implant))
    done = actions.implant_piece(piece.code, m.case_of(pack).code, act=act(at=NOON))
    assert done.findings[0]["slug"] == "lot-missing"
