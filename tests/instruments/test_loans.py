"""Loans: counted, packed only with their papers, given back with a certificate, closed when they add up."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from instruments.actions import (
    agree_loan,
    cancel_loan,
    close_loan,
    close_loan_short,
    confirm_loan_count,
    destroy_piece,
    extend_loan,
    file_loan_papers,
    find,
    give_back,
    lend,
    miss,
    quarantine_piece,
    receive_again,
    receive_loan_piece,
    take_from_loan,
    withdraw,
)
from instruments.loans import Direction, PrionHistory
from instruments.models import Loan, LoanLine, LoanPiece, PartKind, Piece, PieceLine
from instruments.reads import loans_with_counts, members_of
from instruments.states import LoanState, PieceState
from journal.actions import Done
from journal.findings import Refused
from journal.roles import Role
from tests import makers
from tests.makers import AT, act, refused
from trays.actions import give_back_pack, pack_single, receive_maker_pack
from trays.models import ClosedMember, Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db
S = PieceState
OUT = Direction.OUT
DUE = AT.date() + timedelta(days=7)


def state_of(loan: Loan) -> str:
    return str(Loan.objects.get(pk=loan.pk).state)


def here(*, pieces: int = 1, **fields: Any) -> tuple[Loan, list[Piece]]:
    """A borrowed set whose count is confirmed, its pieces washed and inspected."""
    loan = makers.loan(agreed=pieces, **fields)
    arrived = [makers.process(makers.borrowed(loan)) for _ in range(pieces)]
    confirm_loan_count(loan.code, act=act())
    return loan, arrived


def away(*, pieces: int = 1) -> tuple[Loan, list[Piece]]:
    """Own pieces that are with another unit."""
    loan = makers.loan(OUT, agreed=pieces)
    own = [makers.piece() for _ in range(pieces)]
    for piece in own:
        lend(piece.code, loan.code, act=act())
    confirm_loan_count(loan.code, act=act())
    return loan, own


# Agreed, and its papers


@pytest.mark.parametrize(
    ("fields", "slugs"),
    [
        ({"direction": "up"}, ["not-listed"]),
        ({"prion_history": "who knows"}, ["not-listed"]),
        ({"party": " "}, ["party-missing"]),
        ({"due": AT.date() - timedelta(days=1), "agreed": 0}, ["due-past", "count-too-small"]),
    ],
)
def test_a_loan_names_its_way_its_party_its_day_and_its_count(fields: dict[str, Any], slugs: list[str]) -> None:
    given = {"direction": "in", "party": "Pool", "due": DUE, "agreed": 2, **fields}
    assert refused(lambda: agree_loan(**given, act=act())) == slugs
    assert not Loan.objects.exists()


def test_agreeing_takes_its_right() -> None:
    coordinator = act(makers.person(Role.COORDINATOR))
    assert refused(lambda: agree_loan("in", "Pool", DUE, 1, act=coordinator)) == ["right-missing"]


def test_papers_are_filed_one_by_one() -> None:
    loan = makers.loan(instructions="", prion_history=PrionHistory.NOT_ASKED, certificate="")
    assert refused(lambda: file_loan_papers(loan.code, act=act())) == ["nothing-filed"]
    assert refused(lambda: file_loan_papers(loan.code, prion_history="?", act=act())) == ["not-listed"]
    file_loan_papers(loan.code, instructions=" IFU-9 ", act=act())
    done = file_loan_papers(loan.code, prion_history=PrionHistory.RISK, act=act())
    assert "quarantine them" in done.next_step
    loan.refresh_from_db()
    assert (loan.instructions, loan.prion_history, loan.certificate) == ("IFU-9", PrionHistory.RISK, "")


def test_a_loan_is_extended_while_it_is_open() -> None:
    loan = makers.loan()
    later = DUE + timedelta(days=5)
    assert refused(lambda: extend_loan(loan.code, later, reason=" ", act=act())) == ["reason-missing"]
    extend_loan(loan.code, later, reason="agreed by phone", act=act())
    assert Loan.objects.get().due == later
    cancel_loan(loan.code, reason="not needed", act=act())
    assert refused(lambda: extend_loan(loan.code, later, reason="why", act=act())) == ["wrong-state"]


# In


def test_borrowed_pieces_enter_at_returned_in_their_condition_and_the_count_is_confirmed() -> None:
    loan = makers.loan(agreed=2)
    piece = makers.borrowed(loan, serial="S-1", mark="LS-1")
    assert (piece.state, piece.loan, piece.service_due) == (S.RETURNED, loan, None)
    assert piece.marks.get().text == "LS-1"
    assert LoanPiece.objects.get().condition == "sound"
    assert refused(lambda: confirm_loan_count(loan.code, act=act())) == ["count-differs"]
    confirm_loan_count(loan.code, reason="one is on another paper", act=act())
    assert state_of(loan) == LoanState.ON_LOAN
    assert list(LoanLine.objects.values_list("verb", flat=True)) == [
        "agree", "file_papers", "add_piece", "confirm_count",
    ]  # fmt: skip


def test_what_may_not_arrive_is_refused() -> None:
    risky, out, loan = makers.loan(prion_history=PrionHistory.RISK), makers.loan(OUT), makers.loan()
    part = makers.part().code
    receive = partial(receive_loan_piece, condition="sound", act=act())
    assert refused(lambda: receive(risky.code, part)) == ["prion-risk"]
    assert refused(lambda: receive(out.code, part)) == ["wrong-loan"]
    assert refused(lambda: receive(loan.code, "NONE")) == ["unknown-code"]
    assert refused(lambda: receive("A1", part)) == ["unknown-code"]
    assert refused(lambda: receive_loan_piece(loan.code, part, condition=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: confirm_loan_count(loan.code, reason="none came", act=act())) == ["loan-empty"]
    assert not Piece.objects.exists()


@pytest.mark.parametrize(
    ("fields", "slug"),
    [
        ({"instructions": ""}, "instructions-missing"),
        ({"prion_history": PrionHistory.NOT_ASKED}, "prion-history-not-asked"),
    ],
)
def test_without_its_papers_nothing_borrowed_is_packed(fields: dict[str, Any], slug: str) -> None:
    _, (piece,) = here(**fields)
    assert refused(lambda: pack_single(piece.code, act=act())) == [slug]
    assert refused(lambda: makers.lay(makers.tray(makers.template(piece.part)), piece)) == [slug]


def test_with_its_papers_a_borrowed_piece_is_packed() -> None:
    _, (piece,) = here()
    assert pack_single(piece.code, act=act()).state == PackState.ASSEMBLED


def test_a_borrowed_piece_goes_back_clean_and_under_a_certificate() -> None:
    loan = makers.loan(certificate="")
    piece = makers.borrowed(loan)
    assert "count-not-confirmed" in refused(lambda: give_back(piece.code, act=act()))
    confirm_loan_count(loan.code, act=act())
    assert refused(lambda: give_back(piece.code, act=act())) == [
        "wrong-state", "certificate-missing", "not-cleaned",
    ]  # fmt: skip
    file_loan_papers(loan.code, certificate="DC-2", act=act())
    makers.process(piece)
    assert refused(lambda: close_loan(loan.code, act=act())) == ["count-open"]
    assert give_back(piece.code, act=act()).state == S.WITHDRAWN
    assert refused(lambda: give_back(piece.code, act=act())) == ["not-borrowed"]
    close_loan(loan.code, act=act())
    assert state_of(loan) == LoanState.CLOSED
    assert refused(lambda: give_back(makers.piece().code, act=act())) == ["not-borrowed"]


def test_a_piece_withdrawn_for_a_fault_still_goes_back() -> None:
    loan, (piece,) = here()
    withdraw(piece.code, reason="spark at the test", act=act())
    assert refused(lambda: close_loan(loan.code, act=act())) == ["count-open"]
    give_back(piece.code, act=act())
    close_loan(loan.code, act=act())


def test_what_was_destroyed_by_decision_is_accounted_for() -> None:
    loan, (piece,) = here()
    quarantine_piece(piece.code, reason="look-back", act=act())
    destroy_piece(piece.code, reason="confirmed", act=act())
    assert [str(member.fact.outcome) for member in members_of(loan)] == ["used up"]
    close_loan(loan.code, act=act())


def test_a_piece_that_was_here_before_goes_on_with_its_own_record() -> None:
    _, (piece,) = here()
    again = makers.loan()
    receive = partial(receive_again, again.code, piece.code, condition="sound", act=act())
    assert refused(receive) == ["wrong-state", "not-given-back"]
    give_back(piece.code, act=act())
    assert receive().state == S.RETURNED
    piece.refresh_from_db()
    assert (piece.loan, piece.cleaned_at) == (again, None)
    own = makers.piece()
    withdraw(own.code, reason="worn", act=act())
    assert refused(lambda: receive_again(again.code, own.code, condition="sound", act=act())) == ["not-given-back"]


def test_a_sealed_item_is_received_as_a_pack_and_goes_back_unopened() -> None:
    loan = makers.loan(certificate="")
    part = makers.part(PartKind.IMPLANT)
    receive = partial(receive_maker_pack, part.code, expires=date(2028, 1, 31), lot="L-1", barrier_intact=True)
    pack = receive(loan=loan.code, act=act()).mark
    assert refused(lambda: give_back_pack(pack, act=act())) == ["count-not-confirmed", "certificate-missing"]
    confirm_loan_count(loan.code, act=act())
    file_loan_papers(loan.code, certificate="DC-3", act=act())
    assert refused(lambda: receive(loan=loan.code, act=act())) == ["wrong-loan"]
    assert give_back_pack(pack, act=act()).state == PackState.VOID
    assert Piece.objects.get().state == S.WITHDRAWN
    close_loan(loan.code, act=act())
    bought = receive(act=act()).mark
    assert refused(lambda: give_back_pack(bought, act=act())) == ["not-borrowed"]


def test_what_the_unit_wrapped_does_not_go_back_as_sealed() -> None:
    _, (piece,) = here()
    pack = Pack.objects.get(code=pack_single(piece.code, act=act()).mark)
    assert refused(lambda: give_back_pack(pack.code, act=act())) == ["wrong-state", "not-sealed"]


# Out


def test_own_pieces_go_out_and_come_back() -> None:
    loan, (piece,) = away()
    assert Piece.objects.get(pk=piece.pk).loan == loan
    assert refused(lambda: close_loan(loan.code, act=act())) == ["count-open"]
    assert take_from_loan(piece.code, act=act()).state == S.RETURNED
    close_loan(loan.code, act=act())
    assert [row.gone for row in loans_with_counts(AT.date())] == [1]


def test_a_piece_counted_by_mistake_is_taken_off_and_may_be_counted_again() -> None:
    loan, piece = makers.loan(OUT), makers.piece()
    lend(piece.code, loan.code, act=act())
    take_from_loan(piece.code, act=act())
    assert refused(lambda: confirm_loan_count(loan.code, reason="none", act=act())) == ["loan-empty"]
    lend(makers.process(piece).code, loan.code, act=act())
    assert LoanPiece.objects.count() == 1


def test_what_may_not_be_lent() -> None:
    loan, bare = makers.loan(OUT), makers.loan(OUT, certificate="")
    own = makers.piece()
    assert refused(lambda: lend(own.code, bare.code, act=act())) == ["certificate-missing"]
    assert refused(lambda: lend(own.code, makers.loan().code, act=act())) == ["wrong-loan"]
    _, (borrowed,) = here()
    assert refused(lambda: lend(borrowed.code, loan.code, act=act())) == ["borrowed"]
    ClosedMember.objects.create(piece=own, tray=makers.tray(closed=True))
    assert refused(lambda: lend(own.code, loan.code, act=act())) == ["closed-set"]


def test_a_lent_piece_that_was_lost_and_found_is_on_loan_no_more() -> None:
    loan, (piece,) = away()
    miss(piece.code, reason="they cannot find it", act=act())
    assert [str(member.fact.outcome) for member in members_of(loan)] == ["missing"]
    find(piece.code, act=act())
    piece.refresh_from_db()
    assert (piece.state, piece.loan) == (S.RETURNED, None)
    close_loan(loan.code, act=act())


def test_a_lost_borrowed_piece_that_is_found_is_still_borrowed() -> None:
    loan, (piece,) = here()
    miss(piece.code, reason="not in the basket", act=act())
    find(piece.code, act=act())
    piece.refresh_from_db()
    assert piece.loan == loan


def test_a_lent_piece_withdrawn_while_away_is_accounted_for_by_its_reason() -> None:
    loan, (piece,) = away()
    withdraw(piece.code, reason="broken there, written off", act=act())
    close_loan(loan.code, act=act())


# Closed short, cancelled


def test_only_a_named_decision_closes_a_loan_short() -> None:
    loan, (kept, gone) = away(pieces=2)
    take_from_loan(kept.code, act=act())
    technician = act(makers.person(Role.TECHNICIAN))
    assert refused(lambda: close_loan_short(loan.code, reason="lost", act=technician)) == ["right-missing"]
    assert refused(lambda: close_loan_short(loan.code, reason=" ", act=act())) == ["reason-missing"]
    close_loan_short(loan.code, reason="lost there", act=act())
    line = LoanLine.objects.get(verb="close_short")
    assert (line.reason, line.evidence["missing"]) == ("lost there", [gone.code])
    gone.refresh_from_db()
    assert gone.state == S.MISSING
    complete, (piece,) = away()
    take_from_loan(piece.code, act=act())
    assert refused(lambda: close_loan_short(complete.code, reason="why", act=act())) == ["count-complete"]


def test_a_borrowed_piece_found_after_its_loan_was_closed_short_still_goes_back() -> None:
    loan, (piece,) = here()
    miss(piece.code, reason="not in the basket", act=act())
    close_loan_short(loan.code, reason="lost here, invoice agreed", act=act())
    find(piece.code, act=act())
    piece.refresh_from_db()
    give_back(makers.process(piece).code, act=act())


def test_a_loan_with_pieces_is_not_cancelled() -> None:
    loan = makers.loan()
    makers.borrowed(loan)
    assert refused(lambda: cancel_loan(loan.code, reason="why", act=act())) == ["loan-begun"]
    assert state_of(loan) == LoanState.AGREED


def test_a_piece_from_before_loans_were_recorded_comes_back_too() -> None:
    piece = makers.piece()
    makers.move(piece, "lend")
    assert take_from_loan(piece.code, act=act()).state == S.RETURNED


# Scarce, and never false


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_a_piece_lent_eight_times_at_once_goes_on_one_loan() -> None:
    piece, who, loans = makers.piece(), act(), [makers.loan(OUT) for _ in range(8)]
    answers = makers.at_once(*(partial(lend, piece.code, loan.code, act=who) for loan in loans))
    assert sum(isinstance(answer, Done) for answer in answers) == 1, answers
    assert all(answer.code == "wrong-state" for answer in answers if isinstance(answer, Refused))
    assert LoanPiece.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_a_piece_given_back_four_times_at_once_goes_back_once() -> None:
    _, (piece,) = here()
    who = act()
    answers = makers.at_once(*[partial(give_back, piece.code, act=who)] * 4)
    assert sum(isinstance(answer, Done) for answer in answers) == 1, answers
    assert PieceLine.objects.filter(piece=piece, verb="give_back").count() == 1


@pytest.mark.storage
@pytest.mark.parametrize(
    "wrong", [{"agreed": 0}, {"direction": "up"}, {"state": "lost"}, {"prion_history": "who knows"}]
)
def test_the_database_knows_no_other_loan(wrong: dict[str, Any]) -> None:
    loan = makers.loan()
    with pytest.raises(IntegrityError), transaction.atomic():
        Loan.objects.filter(pk=loan.pk).update(**wrong)


@pytest.mark.storage
def test_a_loan_s_trail_and_its_pieces_only_grow() -> None:
    loan = makers.loan()
    makers.borrowed(loan)
    for table in (LoanLine, LoanPiece):
        with pytest.raises(IntegrityError), transaction.atomic():
            table.objects.all().delete()
