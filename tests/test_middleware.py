"""A NUL character is refused before it reaches a database that holds none."""

from __future__ import annotations

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from journal.roles import Role
from tests import makers

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


@pytest.mark.parametrize("address", ["/pieces/P%00/", "/find/?q=%00", "/catalogue/?q=a%00b", "/lists/?%00=1"])
def test_a_nul_in_an_address_is_no_page(address: str) -> None:
    client = Client()
    client.force_login(makers.person(Role.NURSE), backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(address).status_code == 400


def test_a_nul_in_a_form_or_a_json_body_is_refused() -> None:
    person = makers.person(Role.TECHNICIAN)
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post("/pieces/P000001H/withdraw/", {"reason": "a\x00", "key": "k"}).status_code == 400
    token = Token.objects.create(user=person)
    answer = Client().post(
        "/api/instruments/withdraw/",
        {"piece": "P\x00", "reason": "r"},
        content_type="application/json",
        headers={"Authorization": f"Token {token.key}", "Idempotency-Key": "n"},
    )
    assert answer.status_code == 400
    assert "piece" in answer.json()


def test_everything_else_goes_on() -> None:
    assert Client().get("/health/").status_code == 200
