"""Pages of loans, of service and life, and of stock."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from instruments.actions import confirm_loan_count, send_to_repair
from instruments.loans import Direction
from instruments.models import Loan, Piece
from instruments.states import LoanState, PieceState
from journal.roles import Role
from tests import makers
from tests.makers import act

pytestmark = pytest.mark.django_db
OUT = Direction.OUT


def signed_in(*roles: Role) -> Client:
    client = Client()
    client.force_login(
        makers.person(*(roles or (Role.TECHNICIAN,))), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


def page(client: Client, name: str, *args: str, **asked: str) -> str:
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def post(client: Client, name: str, *args: str, **given: Any) -> str:
    return client.post(reverse(name, args=args), given, follow=True).content.decode()


def test_a_borrowed_set_from_the_agreement_to_its_end_by_its_pages() -> None:
    client, part = signed_in(), makers.part()
    assert "No loan is open." in page(client, "loans")
    terms = {"direction": "in", "party": "Pool", "due": "2099-01-01", "agreed": 1, "prion_history": "no risk known"}
    assert "Loan A000001D from Pool is agreed." in post(client, "agree-loan", **terms)
    loan = Loan.objects.get()
    said = post(client, "loan-receive", loan.code, part=part.code, mark="LS-1", condition="sound")
    piece = Piece.objects.get()
    assert f"{piece.code} received on loan {loan.code}, 1 of 1" in said
    assert "nothing of it is packed" in said
    post(client, "loan-verb", loan.code, "confirm-loan-count")
    post(client, "loan-papers", loan.code, instructions="IFU-7", certificate="DC-9")
    assert "must be cleaned or inspected" in post(client, "loan-scan", loan.code, mark="LS-1")
    makers.process(piece)
    assert "goes back to Pool" in post(client, "loan-scan", loan.code, mark=" ls-1")
    post(client, "loan-verb", loan.code, "close-loan")
    assert Loan.objects.get().state == LoanState.CLOSED
    assert "1 loan ended" in page(client, "loans")


def test_a_piece_that_was_here_before_arrives_by_a_scan() -> None:
    client, loan = signed_in(), makers.loan()
    piece = makers.process(makers.borrowed(loan))
    confirm_loan_count(loan.code, act=act())
    post(client, "loan-scan", loan.code, mark=piece.code)
    again = makers.loan()
    said = post(client, "loan-scan", again.code, mark=piece.code, condition="sound")
    assert f"received on loan {again.code}" in said


def test_own_pieces_leave_and_come_back_by_a_scan() -> None:
    client, loan, piece = signed_in(), makers.loan(OUT), makers.piece()
    assert "goes to Other unit" in post(client, "loan-scan", loan.code, mark=piece.code, condition="sound")
    assert "Lent to" in page(client, "piece", piece.code)
    confirm_loan_count(loan.code, act=act())
    assert "is back from loan" in post(client, "loan-scan", loan.code, mark=piece.code)
    post(client, "loan-extend", loan.code, due="2099-01-01", reason="by phone")
    assert Loan.objects.get().due == date(2099, 1, 1)


def test_a_borrowed_piece_found_after_the_end_goes_back_by_a_scan() -> None:
    client, loan = signed_in(), makers.loan()
    piece = makers.process(makers.borrowed(loan))
    Loan.objects.update(state=LoanState.CLOSED)
    assert "A piece goes back late" in page(client, "loan", loan.code)
    assert "goes back to" in post(client, "loan-scan", loan.code, mark=piece.code)


def test_what_is_not_filled_in_right_is_said() -> None:
    client, loan = signed_in(), makers.loan()
    answer = client.post(reverse("agree-loan"), {"direction": "in"})
    assert answer.status_code == 422
    assert "Condition on arrival: This field is required." in post(client, "loan-receive", loan.code)
    assert client.post(reverse("loan-verb", args=[loan.code, "burn"])).status_code == 404
    assert client.get(reverse("loan", args=["A1"])).status_code == 404
    assert "nothing of the unit carries this mark" in post(client, "loan-scan", loan.code, mark="NOBODY-1")
    Loan.objects.update(state=LoanState.CANCELLED)
    assert "Mark" in post(client, "loan-scan", loan.code)


def test_a_nurse_does_not_close_a_loan_short() -> None:
    loan = makers.loan()
    makers.borrowed(loan)
    confirm_loan_count(loan.code, act=act())
    said = post(signed_in(Role.NURSE), "loan-verb", loan.code, "close-loan-short", reason="lost")
    assert "does not hold the right “decide”" in said


def test_the_list_of_loans_asks_as_often_for_many(django_assert_max_num_queries: Any) -> None:
    client = signed_in()
    for _ in range(6):
        makers.borrowed(makers.loan())
    with django_assert_max_num_queries(5):
        page(client, "loans")


# Service, life and repair


def test_service_and_life_name_what_is_due_and_who_repairs() -> None:
    client, today = signed_in(), timezone.localdate()
    due = makers.piece(service_due=today - timedelta(days=1))
    worn = makers.piece(makers.part(life_limit=50), cycles=48)
    broken, later = makers.piece(), makers.piece(service_due=today + timedelta(days=80))
    send_to_repair(broken.code, reason="bent", to="Workshop", order="WO-1", expected=today, act=act())
    shown = page(client, "service")
    assert all(piece.code in shown for piece in (due, worn, broken))
    assert later.code not in shown
    assert "Workshop, order WO-1" in shown
    assert later.code in page(client, "service", days="90")
    assert later.code not in page(client, "service", days="soon")


def test_a_piece_is_sent_to_repair_with_its_order_and_serviced_from_its_page() -> None:
    client = signed_in()
    piece = makers.piece(makers.part(service_days=100))
    given = {"reason": "bent", "to": "Workshop", "order": "WO-2", "expected": "2099-01-01"}
    said = post(client, "piece-verb", piece.code, "send-to-repair", **given)
    assert "Workshop" in said
    assert "WO-2" in said
    assert "What is wrong: This field is required." in post(client, "piece-verb", piece.code, "send-to-repair")
    post(client, "piece-verb", piece.code, "take-from-repair")
    piece.refresh_from_db()
    assert (piece.state, piece.due_back) == (PieceState.RETURNED, None)
    assert "due again on" in post(client, "piece-verb", piece.code, "record-service", reason="oiled")
    bare = makers.piece()
    assert "has no service interval" in post(client, "piece-verb", bare.code, "record-service", reason="oiled")


# Stock


def test_stock_shows_lots_the_soonest_expiry_first() -> None:
    part = makers.part(single_use=True)
    today = timezone.localdate()
    for days in (300, 5):
        makers.maker_pack(part, expires=today + timedelta(days=days), at=timezone.now())
    shown = page(signed_in(), "stock")
    assert shown.index(f"{today + timedelta(days=5):%d-%b-%Y}") < shown.index(
        f"{today + timedelta(days=300):%d-%b-%Y}"
    )
    assert "Expires soon" in shown
    assert "no full week is on record" in shown
    (row,) = signed_in().get(reverse("api-stock")).json()
    assert ([lot["count"] for lot in row["lots"]], row["usable"], row["order"]) == ([1, 1], 1, 0)


def test_the_api_tells_a_loan_with_its_pieces() -> None:
    loan = makers.loan()
    piece = makers.borrowed(loan)
    client = signed_in()
    assert client.get(reverse("api-loans"), {"direction": "out"}).json()["results"] == []
    told = client.get(reverse("api-loan", args=[loan.code])).json()
    assert [(row["piece"], row["outcome"]) for row in told["members"]] == [(piece.code, "not back")]
