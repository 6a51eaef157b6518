"""Badges, marks of places, command cards and the scanner card: printed, read back, and who may print them."""

from __future__ import annotations

import shutil

import pytest
from django.urls import reverse

from instruments.carriers import GS
from instruments.commands import Command, command_of
from instruments.scanner_check import SENT
from journal.models import Person, Place
from journal.roles import Role
from tests import makers
from tests.trays.pages import signed_in
from tests.trays.printing import facts, said, symbols
from trays import paper
from trays.models import Tray

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils"),
]


def test_a_badge_names_and_proves_nothing() -> None:
    nurse = makers.person(Role.NURSE, Role.COORDINATOR, name="Endoscopy nurse 1")
    document = paper.badges(Person.objects.filter(pk=nurse.pk))
    assert symbols(document) == {("]Q1", nurse.badge)}
    for words in ("Endoscopy nurse 1", "Coordinator", str(nurse.badge)):
        assert words in said(document)
    assert "PIN" not in said(document)
    Person.objects.update(badge=None)
    assert "Nobody chosen has a badge" in said(paper.badges(Person.objects.all()))


def test_a_places_sheet_says_what_belongs_there() -> None:
    shelf, bench = (
        Place.objects.create(code="STORE-1", name="Store, shelf 1"),
        Place.objects.create(code="B", name="Bench"),
    )
    trays = [makers.tray(name=f"Adult tray {n:02}") for n in range(1, 15)]
    Tray.objects.filter(pk__in=[tray.pk for tray in trays]).update(home=shelf)
    document = paper.place_marks([shelf, bench])
    assert symbols(document) == {("]Q1", "STORE-1"), ("]Q1", "B")}
    text = said(document)
    for words in ("Store, shelf 1", "Adult tray 01", trays[0].code, "and 2 more", "No tray has its home here."):
        assert words in text
    assert "Adult tray 13" not in text


def test_command_cards_are_read_back_as_commands() -> None:
    document = paper.command_cards()
    assert {command_of(f"{symbology}{text}") for symbology, text in symbols(document)} == set(Command)
    assert symbols(document, dpi=203) == {("]d1", command.code) for command in Command}
    assert facts(document)["Tagged"] == "yes"


def test_the_scanner_card_says_gs1_and_holds_its_separator() -> None:
    assert GS in SENT
    for dpi in (203, 300):
        assert symbols(paper.scanner_card(), dpi) == {("]d2", SENT)}


@pytest.mark.parametrize("role", [Role.COORDINATOR, Role.QUALITY])
@pytest.mark.parametrize("what", ["badges", "places", "commands", "scanner-card"])
def test_who_plans_prints_them(role: Role, what: str) -> None:
    answer = signed_in(None, role).get(reverse("print-card", args=[what]))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")


def test_only_who_was_chosen_is_printed() -> None:
    one, other = makers.person(name="Technician 1"), makers.person(name="Technician 2")
    answer = signed_in(None, Role.QUALITY).get(reverse("print-card", args=["badges"]), {"of": str(one.badge)})
    assert symbols(answer.content) == {("]Q1", one.badge)}
    assert str(other.badge) not in said(answer.content)


def test_who_does_not_plan_sees_what_there_is_and_prints_nothing() -> None:
    client = signed_in(None, Role.NURSE)
    assert "Your sign-in does not hold the right “plan”." in client.get(reverse("print")).content.decode()
    answer = client.get(reverse("print-card", args=["badges"]), follow=True)
    assert "Cannot print the badges." in str(*answer.context["messages"])
    assert client.get(reverse("print-card", args=["posters"])).status_code == 404
