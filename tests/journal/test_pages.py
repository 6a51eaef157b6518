"""Signing in by name or badge, the lock-out, the station of a browser, and the notices of one's roles."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import get_user
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from journal.actions import Concern, tell
from journal.models import Person, Station
from journal.roles import Role
from tests import makers
from tests.makers import AT

pytestmark = pytest.mark.django_db

PASSWORD = "a-long-enough-one"


@pytest.fixture
def nurse() -> Person:
    person = makers.person(Role.NURSE, name="Nurse 1", badge="B000007L")
    person.set_password(PASSWORD)
    person.save()
    return person


def sign_in(client: Client, name: str, password: str = PASSWORD, **more: str) -> HttpResponse:
    response: HttpResponse = client.post("/sign-in/", {"username": name, "password": password, **more})  # type: ignore[assignment]
    return response


# Signing in


def test_a_person_signs_in_by_name_and_goes_on_where_they_were(client: Client, nurse: Person) -> None:
    response = sign_in(client, nurse.username, next="/scan/return/")
    assert response.headers["Location"] == "/scan/return/"
    assert get_user(client) == nurse


@pytest.mark.parametrize("scanned", ["B000007L", "b000007l", " B000007L "])
def test_a_badge_names_its_person(scanned: str, client: Client, nurse: Person) -> None:
    assert sign_in(client, scanned).headers["Location"] == "/"
    assert get_user(client) == nurse


def test_a_badge_alone_proves_nobody(client: Client, nurse: Person) -> None:
    page = sign_in(client, "B000007L", "something else").content.decode()
    assert "Cannot sign in: name and password do not belong together. Type both again." in page
    assert get_user(client).is_anonymous


def test_somebody_who_left_does_not_sign_in(client: Client, nurse: Person) -> None:
    Person.objects.filter(pk=nurse.pk).update(is_active=False)
    assert sign_in(client, nurse.username).status_code == 200
    assert get_user(client).is_anonymous


def test_five_wrong_passwords_lock_the_name_whichever_way_it_is_given(client: Client, nurse: Person) -> None:
    for name in (nurse.username, "B000007L", nurse.username, "B000007L"):
        assert sign_in(client, name, "wrong").status_code == 200
    locked = sign_in(client, "B000007L", "wrong")
    assert locked.status_code == 429
    assert "This name is locked for a while" in locked.content.decode()
    assert "15min" in locked.content.decode()
    assert sign_in(client, nurse.username).status_code == 429  # the right password, too
    other = makers.person(Role.NURSE)
    other.set_password(PASSWORD)
    other.save()
    assert sign_in(client, other.username).status_code == 302  # others at the station are not locked


def test_signing_out_is_a_post(client: Client, nurse: Person) -> None:
    client.force_login(nurse)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert get_user(client).is_anonymous


# The station of a browser


def test_the_station_stays_when_the_person_changes(client: Client, nurse: Person) -> None:
    at = Station.objects.create(name="Returns R1", place=makers.place())
    sign_in(client, nurse.username)
    response = client.post("/station/", {"station": "Returns R1", "back": "/scan/"})
    assert response.headers["Location"] == "/scan/"
    client.post("/sign-out/")
    sign_in(client, nurse.username)
    assert client.session["station"] == at.pk
    assert "Returns R1" in client.get("/scan/").content.decode()


def test_no_station_is_a_choice(client: Client, nurse: Person) -> None:
    Station.objects.create(name="Returns R1", place=makers.place())
    client.force_login(nurse)
    client.post("/station/", {"station": "Returns R1"})
    client.post("/station/", {"station": ""})
    assert "station" not in client.session
    assert client.cookies["station"].value == ""


def test_choosing_a_station_leads_nowhere_else(client: Client, nurse: Person) -> None:
    client.force_login(nurse)
    for back in ("https://elsewhere.example/", "//elsewhere.example/", ""):
        assert client.post("/station/", {"station": "", "back": back}).headers["Location"] == "/"


def test_stations_are_for_those_who_signed_in(client: Client) -> None:
    assert client.get("/station/").headers["Location"] == "/sign-in/?next=/station/"
    assert client.post("/station/", {"station": "Returns R1"}).headers["Location"].startswith("/sign-in/")


# Notices


def test_notices_are_those_of_my_roles_open_and_closed_of_late(client: Client, nurse: Person) -> None:
    at = AT.now(AT.tzinfo)
    tell("life", [Concern("a", Role.NURSE, "Old and gone.")], at=at - timedelta(days=30))
    tell("life", [Concern("b", Role.NURSE, "Gone of late.")], at=at - timedelta(days=20))
    tell("life", [Concern("c", Role.NURSE, "Still so."), Concern("d", Role.QUALITY, "Not mine.")], at=at)
    client.force_login(nurse)
    response = client.get("/notices/")
    assert [notice.sentence for notice in response.context["still_open"]] == ["Still so."]
    assert [notice.sentence for notice in response.context["closed"]] == ["Gone of late."]
    assert "endoscopy nurse" in response.content.decode()


def test_notices_cost_the_same_however_many_they_are(client: Client, nurse: Person) -> None:
    client.force_login(nurse)
    counts = []
    for many in (1, 9):
        tell("life", [Concern(f"c{n}", Role.NURSE, f"Cause {n}.") for n in range(many)], at=AT)
        with CaptureQueriesContext(connection) as asked:
            client.get("/notices/")
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_notices_are_for_those_who_signed_in(client: Client) -> None:
    assert client.get("/notices/").headers["Location"] == "/sign-in/?next=/notices/"
