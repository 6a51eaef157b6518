"""The API: sign-in by token, answers, refusals, keys."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import ACTIONS
from journal.roles import Role
from tests import makers

pytestmark = pytest.mark.django_db


def post(person: Any, address: str, body: dict[str, Any], key: str = "k1") -> Any:
    token, _ = Token.objects.get_or_create(user=person)
    return Client().post(
        address,
        body,
        content_type="application/json",
        headers={"Authorization": f"Token {token.key}", **({"Idempotency-Key": key} if key else {})},
    )


def test_sign_in_gives_a_token() -> None:
    person = makers.person(Role.NURSE)
    person.set_password("a-long-password")
    person.save()
    answer = Client().post(
        "/api/sign-in/",
        {"username": person.username, "password": "a-long-password"},
        content_type="application/json",
    )
    assert answer.status_code == 200
    assert answer.json()["token"] == Token.objects.get(user=person).key


def test_without_a_token_nothing_is_answered() -> None:
    assert Client().get("/api/pieces/").status_code == 401
    assert Client().post("/api/instruments/withdraw/", {}).status_code == 401


def test_an_action_answers_and_the_same_key_answers_the_same() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    person = makers.person(Role.TECHNICIAN)
    body = {"piece": piece.code, "reason": "worn out"}
    first = post(person, "/api/instruments/withdraw/", body)
    again = post(person, "/api/instruments/withdraw/", body)
    assert first.status_code == again.status_code == 200
    assert first.json() == again.json()
    assert first.json()["state"] == PieceState.WITHDRAWN
    assert Piece.objects.get(code=piece.code).lines.filter(verb="withdraw").count() == 1


def test_the_same_key_for_another_request_is_a_conflict() -> None:
    one, two = makers.piece(state=PieceState.RETURNED), makers.piece(state=PieceState.RETURNED)
    person = makers.person(Role.TECHNICIAN)
    post(person, "/api/instruments/withdraw/", {"piece": one.code, "reason": "worn out"})
    answer = post(person, "/api/instruments/withdraw/", {"piece": two.code, "reason": "worn out"})
    assert answer.status_code == 409
    assert answer.json()["code"] == "key-reused"


def test_a_refusal_is_a_conflict_with_its_findings() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    answer = post(makers.person(Role.NURSE), "/api/trays/pack-single/", {"piece": piece.code})
    assert answer.status_code == 409
    assert answer.json()["findings"][0]["sentence"].startswith(f"Cannot pack {piece.code}")


@pytest.mark.parametrize(
    ("body", "key", "field"),
    [
        ({"reason": "x"}, "k", "piece"),
        ({"piece": "P", "reason": "x", "colour": "red"}, "k", "colour"),
        ({"piece": ["P"], "reason": "x"}, "k", "piece"),
        ({"piece": "P", "reason": "x"}, "", "Idempotency-Key"),
        ({"piece": "P", "reason": "x"}, "k" * 81, "Idempotency-Key"),
    ],
)
def test_a_malformed_request_names_the_field(body: dict[str, Any], key: str, field: str) -> None:
    answer = post(makers.person(Role.TECHNICIAN), "/api/instruments/withdraw/", body, key)
    assert answer.status_code == 400
    assert field in answer.json()


def test_every_action_has_a_route() -> None:
    from django.urls import reverse  # noqa: PLC0415

    from config import api  # noqa: F401, PLC0415 - enters every action

    assert len(ACTIONS) > 40
    for name in ACTIONS:
        assert reverse(f"api-{name.replace('.', '-')}").startswith("/api/")


@pytest.mark.parametrize("address", ["parts", "pieces", "trays", "packs", "machines", "loads", "notices"])
def test_lists_answer(address: str) -> None:
    makers.pack()
    token = Token.objects.create(user=makers.person(Role.NURSE))
    answer = Client().get(f"/api/{address}/", headers={"Authorization": f"Token {token.key}"})
    assert answer.status_code == 200
    assert "results" in answer.json()


def test_a_piece_and_a_pack_answer_with_their_trails() -> None:
    pack = makers.pack()
    token = Token.objects.create(user=makers.person(Role.NURSE))
    answer = Client().get(f"/api/packs/{pack.code}/", headers={"Authorization": f"Token {token.key}"}).json()
    assert answer["lines"][0]["verb"] == "assemble"
    piece = answer["contents"][0]["piece"]
    answer = Client().get(f"/api/pieces/{piece}/", headers={"Authorization": f"Token {token.key}"}).json()
    assert answer["lines"][-1]["verb"] == "pack"
