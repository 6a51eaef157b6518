"""What happens to a piece outside trays and loads."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest

from instruments.actions import (
    add_mark,
    clear_piece,
    destroy_piece,
    enrol,
    find,
    inspect,
    miss,
    quarantine_piece,
    send_to_repair,
    take_from_repair,
    withdraw,
)
from instruments.models import FunctionTest, Mark, PartKind, Piece, PieceLine
from instruments.reads import single_use_facts
from instruments.states import PieceState
from instruments.writer import lock_pieces
from journal.actions import Done
from journal.findings import Refused
from journal.roles import Role
from tests import makers
from tests.makers import AT, act, refused

pytestmark = pytest.mark.django_db
S = PieceState


def verbs(piece: Piece) -> list[str]:
    return [line.verb for line in PieceLine.objects.filter(piece=piece)]


# Entered and marked


def test_a_piece_enters_at_returned_with_its_marks_and_its_first_service() -> None:
    part = makers.part(name="Forceps", service_days=365)
    done = enrol(part.code, serial="S-1", lot="L-1", expires=date(2030, 1, 1), marks=("AX-1", "AX-2"), act=act())
    piece = Piece.objects.get(code=done.mark)
    assert (piece.state, piece.serial, piece.lot, piece.expires) == (S.RETURNED, "S-1", "L-1", date(2030, 1, 1))
    assert piece.service_due == AT.date() + timedelta(days=365)
    assert set(piece.marks.values_list("text", flat=True)) == {"AX-1", "AX-2"}
    assert verbs(piece) == ["enrol"]
    assert done.sentence == f"{piece.code} entered as Forceps."


def test_entering_needs_a_known_part_and_the_right() -> None:
    assert refused(lambda: enrol("NONE", act=act())) == ["unknown-code"]
    technician = act(makers.person(Role.TECHNICIAN))
    assert refused(lambda: enrol(makers.part().code, act=technician)) == ["right-missing"]


def test_a_mark_stands_on_one_piece() -> None:
    part = makers.part()
    enrol(part.code, marks=("AX-1",), act=act())
    assert refused(lambda: enrol(part.code, marks=("ax-1",), act=act())) == ["mark-taken"]
    assert Piece.objects.count() == 1


def test_a_mark_that_is_no_mark_of_one_piece_is_refused() -> None:
    piece, other = makers.piece(), makers.piece()
    assert refused(lambda: add_mark(piece.code, " ", act=act())) != []
    assert refused(lambda: add_mark(piece.code, other.code, act=act())) == ["own-code"]
    # Item number of the GS1 General Specifications' example: a kind of thing, no serial number.
    assert refused(lambda: add_mark(piece.code, "(01)09506000134352", act=act())) == ["not-individual"]
    assert not Mark.objects.exists()
    assert "add_mark" not in verbs(piece)


def test_a_register_may_list_a_piece_s_own_code_among_its_marks() -> None:
    piece = makers.piece()
    add_mark(piece.code, piece.code.lower(), act=act())
    assert Mark.objects.get().key == piece.code


def test_re_marking_keeps_the_old_mark_findable() -> None:
    piece = makers.piece(marks=("AX-1",))
    add_mark(piece.code, "AX-2", act=act())
    assert set(piece.marks.values_list("text", "current")) == {("AX-1", True), ("AX-2", True)}
    add_mark(piece.code, "AX-3", replaces=True, act=act())
    assert set(piece.marks.values_list("text", "current")) == {("AX-1", False), ("AX-2", False), ("AX-3", True)}


def test_an_old_mark_put_on_again_is_current_again() -> None:
    piece = makers.piece(marks=("AX-1",))
    add_mark(piece.code, "AX-2", replaces=True, act=act())
    add_mark(piece.code, "AX-1", replaces=True, act=act())
    assert set(piece.marks.values_list("text", "current")) == {("AX-1", True), ("AX-2", False)}


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_a_mark_put_on_eight_pieces_at_once_stands_on_one() -> None:
    pieces, who = [makers.piece(state=S.RETURNED) for _ in range(8)], act()
    answers = makers.at_once(*(partial(add_mark, piece.code, "AX-1", act=who) for piece in pieces))
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    assert {answer.code for answer in answers if isinstance(answer, Refused)} == {"mark-taken"}
    assert Mark.objects.get().piece.lines.filter(verb="add_mark").exists()


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_pieces_entered_at_once_have_eight_codes() -> None:
    part, who = makers.part(), act()
    answers = makers.at_once(*[lambda: enrol(part.code, act=who)] * 8)
    assert all(isinstance(answer, Done) for answer in answers), answers
    assert len({answer.mark for answer in answers}) == 8


# Inspected


def test_a_clean_piece_is_inspected() -> None:
    piece = makers.piece(state=S.CLEANED)
    assert inspect(piece.code, clean=True, note="seat worn a little", act=act()).state == S.INSPECTED
    piece.refresh_from_db()
    assert (piece.inspected_at, piece.function_ok, piece.insulation_ok) == (AT, None, None)
    assert PieceLine.objects.get(piece=piece, verb="inspect").reason == "seat worn a little"


@pytest.mark.parametrize("state", [S.CLEANED, S.INSPECTED])
def test_a_soiled_piece_goes_back_to_the_washer_and_forgets_that_it_was_clean(state: S) -> None:
    piece = makers.piece(state=state)
    assert inspect(piece.code, clean=False, act=act()).state == S.RETURNED
    piece.refresh_from_db()
    assert (piece.cleaned_at, piece.inspected_at) == (None, None)
    assert PieceLine.objects.get(piece=piece, verb="find_soiled").reason == "found soiled"


@pytest.mark.parametrize(
    ("fields", "slug"),
    [({"function_test": True}, "function-test-missing"), ({"insulated": True}, "insulation-test-missing")],
)
def test_a_part_that_needs_a_test_is_not_inspected_without_it(fields: dict[str, Any], slug: str) -> None:
    piece = makers.piece(makers.part(**fields), state=S.CLEANED)
    assert refused(lambda: inspect(piece.code, clean=True, act=act())) == [slug]
    piece.refresh_from_db()
    assert (piece.state, piece.inspected_at) == (S.CLEANED, None)


def test_passed_tests_stand_on_the_piece_and_in_its_record() -> None:
    piece = makers.piece(makers.part(function_test=True, insulated=True), state=S.CLEANED)
    inspect(piece.code, clean=True, function=True, insulation=True, act=act())
    piece.refresh_from_db()
    assert (piece.state, piece.function_ok, piece.insulation_ok) == (S.INSPECTED, True, True)
    assert set(FunctionTest.objects.filter(piece=piece).values_list("kind", "passed")) == {
        ("function", True),
        ("insulation", True),
    }


def test_a_failed_function_test_sends_to_repair() -> None:
    piece = makers.piece(makers.part(function_test=True), state=S.CLEANED)
    assert inspect(piece.code, clean=True, function=False, act=act()).state == S.IN_REPAIR
    assert verbs(piece)[-2:] == ["inspect", "send_to_repair"]
    assert FunctionTest.objects.get(piece=piece).passed is False
    assert PieceLine.objects.get(piece=piece, verb="send_to_repair").reason == "function test failed"


def test_a_failed_insulation_test_withdraws_at_once() -> None:
    piece = makers.piece(makers.part(insulated=True, function_test=True), state=S.CLEANED)
    assert inspect(piece.code, clean=True, insulation=False, note="spark", act=act()).state == S.WITHDRAWN
    assert verbs(piece)[-2:] == ["inspect", "withdraw"]
    assert PieceLine.objects.get(piece=piece, verb="withdraw").reason == "spark"


@pytest.mark.parametrize("results", [{}, {"function": False}, {"insulation": False}])
@pytest.mark.parametrize("state", [S.RETURNED, S.IN_WASHER])
def test_what_is_not_clean_is_not_inspected_whatever_the_tests_say(state: S, results: dict[str, Any]) -> None:
    piece = makers.piece(state=state)
    assert refused(lambda: inspect(piece.code, clean=True, **results, act=act())) == ["wrong-state"]
    assert not FunctionTest.objects.exists()


def test_inspecting_needs_its_right_whatever_is_found() -> None:
    nobody = act(makers.person(Role.QUALITY))
    piece = makers.piece(state=S.CLEANED)
    for clean, function in ((False, None), (True, None), (True, False)):
        call = partial(inspect, piece.code, clean=clean, function=function, act=nobody)
        assert refused(call) == ["right-missing"]


def test_the_eye_comes_after_the_wash_by_the_clock_too() -> None:
    piece = makers.piece(state=S.CLEANED)
    early = act(at=AT - timedelta(minutes=1))
    with pytest.raises(Refused, match="it was cleaned at Tue 24-Nov-2026 09:00"):
        inspect(piece.code, clean=True, act=early)


def test_a_test_result_lasts_until_the_next_use() -> None:
    piece = makers.piece(makers.part(function_test=True))
    pack = makers.single(piece)
    makers.move(piece, "use")
    makers.move(piece, "take_back")
    pack.carried.all().delete()
    piece.refresh_from_db()
    assert piece.function_ok is None


# Beside the loop


def test_a_missing_piece_is_found() -> None:
    piece = makers.piece()
    assert miss(piece.code, reason="not in the basket", act=act()).state == S.MISSING
    assert find(piece.code, act=act()).state == S.RETURNED
    assert refused(lambda: find(piece.code, act=act())) == ["wrong-state"]


@pytest.mark.parametrize("serviced", [True, False])
def test_a_repaired_piece_re_enters_at_returned(*, serviced: bool) -> None:
    due = AT.date() - timedelta(days=3)
    piece = makers.piece(makers.part(service_days=100), service_due=due)
    send_to_repair(piece.code, reason="bent", act=act())
    assert take_from_repair(piece.code, serviced=serviced, act=act()).state == S.RETURNED
    piece.refresh_from_db()
    assert piece.service_due == (AT.date() + timedelta(days=100) if serviced else due)


def test_a_quarantined_piece_leaves_by_named_decision() -> None:
    box = makers.place("Quarantine box")
    kept, gone = makers.piece(), makers.piece()
    technician = act(makers.person(Role.TECHNICIAN))
    for piece in (kept, gone):
        quarantine_piece(piece.code, reason="look-back", place=box.code, act=technician)
        piece.refresh_from_db()
        assert (piece.state, piece.place) == (S.QUARANTINED, box)
    for decide in (clear_piece, destroy_piece):
        assert refused(lambda: decide(kept.code, reason="ruled out", act=technician)) == ["right-missing"]  # noqa: B023
    assert clear_piece(kept.code, reason="ruled out", act=act()).state == S.RETURNED
    assert destroy_piece(gone.code, reason="confirmed", act=act()).state == S.WITHDRAWN


def test_a_quarantine_place_must_be_known() -> None:
    piece = makers.piece()
    assert refused(lambda: quarantine_piece(piece.code, reason="why", place="NONE", act=act())) == ["unknown-code"]
    assert quarantine_piece(piece.code, reason="why", act=act()).state == S.QUARANTINED


def test_a_withdrawn_piece_is_no_longer_the_units() -> None:
    piece, kept = makers.piece(), makers.piece()
    withdraw(piece.code, reason="worn", act=act())
    assert list(Piece.objects.of_unit()) == [kept]


@pytest.mark.parametrize("decide", [send_to_repair, withdraw, quarantine_piece, clear_piece, destroy_piece])
def test_every_decision_is_explained(decide: Any) -> None:
    piece = makers.piece()
    assert refused(lambda: decide(piece.code, reason="  ", act=act())) == ["reason-missing"]
    assert refused(lambda: decide("P999999X", reason="why", act=act())) == ["unknown-code"]


def test_every_unknown_code_is_named() -> None:
    piece = makers.piece()
    with pytest.raises(Refused) as caught:
        lock_pieces([piece.code, "P2", "P1"])
    assert [finding.subject for finding in caught.value.findings] == ["P1", "P2"]


# Single use, from the trail


def test_a_maker_sterile_item_counts_as_opened_once_it_left_its_pack() -> None:
    pack = makers.maker_pack(makers.part(PartKind.IMPLANT))
    piece = Piece.objects.get(carried__pack=pack)
    (finding,) = single_use_facts([piece], "load", "L1")
    assert (finding.slug, finding.subject) == ("single-use-opened", "L1")


def test_one_use_that_was_not_recorded_as_unused_is_enough() -> None:
    piece = Piece.objects.get(carried__pack=makers.single(makers.piece(makers.part(single_use=True))))
    makers.move(piece, "use")
    makers.move(piece, "take_back", evidence={"unused": True})
    assert [finding.slug for finding in single_use_facts([piece], "pack")] == ["single-use-opened"]
    for verb, fields in (
        ("put_in_washer", {}),
        ("pass_wash", {"cleaned_at": AT}),
        ("inspect", {"inspected_at": AT}),
        ("pack", {}),
        ("use", {}),
    ):
        makers.move(piece, verb, **fields)
    assert [finding.slug for finding in single_use_facts([piece], "pack")] == ["single-use-used"]


def test_reusable_pieces_are_never_asked() -> None:
    piece = Piece.objects.get(carried__pack=makers.single())
    makers.move(piece, "use")
    assert list(single_use_facts([piece], "pack")) == []
