"""Pages of the catalogue, of fit, and the verbs of pieces."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from instruments.models import Part, PartKind, Piece
from instruments.states import PieceState
from journal.roles import Role
from tests import makers

pytestmark = pytest.mark.django_db


def signed_in(*roles: Role) -> Client:
    client = Client()
    client.force_login(makers.person(*roles), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.mark.parametrize("name", ["catalogue", "fit"])
def test_nobody_looks_without_signing_in(name: str) -> None:
    answer = Client().get(reverse(name))
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]


def test_the_catalogue_counts_pieces_and_narrows() -> None:
    part = makers.part(PartKind.TELESCOPE)
    makers.part(PartKind.LEAD)
    makers.piece(part, state=PieceState.RETURNED)
    page = signed_in(Role.NURSE).get(reverse("catalogue"), {"kind": "telescope"}).content.decode()
    assert part.code in page
    assert page.count('data-label="Part"') == 1


def test_the_catalogue_asks_as_often_for_many_parts(django_assert_num_queries: Any) -> None:
    client = signed_in(Role.NURSE)
    makers.part()
    client.get(reverse("catalogue"))
    with django_assert_num_queries(4):  # session, person, parts, series
        client.get(reverse("catalogue"))
    for _ in range(10):
        makers.part()
    with django_assert_num_queries(4):
        client.get(reverse("catalogue"))


def test_a_part_shows_its_dimensions_and_what_is_not_measured() -> None:
    part = makers.part(PartKind.BARREL, dimensions={"inner_mm": "8.0", "inner_tol": "0.05", "outer_mm": "9.0"})
    page = signed_in(Role.NURSE).get(reverse("part", args=[part.code])).content.decode()
    assert "8.0\N{NO-BREAK SPACE}mm ± 0.05\N{NO-BREAK SPACE}mm" in page
    assert "Not recorded" in page


def fit_page(bore: Part, *shafts: Part, gap: str = "0.2") -> str:
    asked = {"bore": bore.code, "shafts": [shaft.code for shaft in shafts], "gap_mm": gap}
    return signed_in(Role.NURSE).get(reverse("fit"), asked).content.decode()


def test_fit_is_judged_and_drawn() -> None:
    barrel = makers.part(PartKind.BARREL, dimensions={"inner_mm": "8.0", "outer_mm": "9.0"})
    scope = makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "4.0"})
    forceps = makers.part(PartKind.FORCEPS, dimensions={"shaft_mm": "2.5"})
    page = fit_page(barrel, scope, forceps)
    # d1 + d2 + 3 gaps = 4.0 + 2.5 + 0.6: two circles side by side, trivial
    assert "7.100&nbsp;mm" in page
    assert "(proven least)" in page
    assert "<svg" in page
    assert "5 mm</text>" in page


def test_fit_says_what_does_not_fit_and_what_is_not_measured() -> None:
    barrel = makers.part(PartKind.BARREL, dimensions={"inner_mm": "5.0", "outer_mm": "6.0"})
    thick = makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "5.5"})
    unknown = makers.part(PartKind.SUCTION, dimensions={})
    assert "Does not fit" in fit_page(barrel, thick)
    assert "Not measured" in fit_page(barrel, unknown)
    assert "Cannot judge 7 at once" in fit_page(
        barrel, *(makers.part(PartKind.SUCTION, dimensions={"shaft_mm": "1.0"}) for _ in range(7))
    )


def test_a_verb_of_a_piece_is_done_and_shown_on_its_page() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    address = reverse("piece-verb", args=[piece.code, "withdraw"])
    answer = signed_in(Role.TECHNICIAN).post(address, {"reason": "bent", "key": "a"}, follow=True)
    assert answer.redirect_chain == [(reverse("piece", args=[piece.code]), 303)]
    assert Piece.objects.get(code=piece.code).state == PieceState.WITHDRAWN
    assert f"{piece.code} is withdrawn." in answer.content.decode()


def test_a_verb_is_refused_with_its_reason() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    address = reverse("piece-verb", args=[piece.code, "withdraw"])
    answer = signed_in(Role.COORDINATOR).post(address, {"reason": "bent", "key": "a"}, follow=True)
    assert Piece.objects.get(code=piece.code).state == PieceState.RETURNED
    assert "your sign-in does not hold the right" in answer.content.decode()
    assert signed_in(Role.NURSE).post(reverse("piece-verb", args=[piece.code, "paint"])).status_code == 404
    assert signed_in(Role.NURSE).get(address).status_code == 405


def test_a_new_piece_is_entered_from_its_part() -> None:
    part = makers.part()
    client = signed_in(Role.QUALITY)
    assert "Enter a new piece" in client.get(reverse("part", args=[part.code])).content.decode()
    client.post(reverse("enrol", args=[part.code]), {"serial": "S-77", "mark": "ENGRAVED-7", "key": "k"})
    piece = Piece.objects.get(serial="S-77")
    assert piece.marks.get().text == "ENGRAVED-7"
    answer = client.post(reverse("enrol", args=[part.code]), {"expires": "soon", "key": "j"}, follow=True)
    assert "Maker&#x27;s last day of use: " in answer.content.decode()


def test_a_packed_piece_is_where_its_pack_is() -> None:
    place = makers.place()
    piece = makers.piece(state=PieceState.RETURNED, place=place)
    client = signed_in(Role.NURSE)
    assert place.name in client.get(reverse("piece", args=[piece.code])).content.decode()
    Piece.objects.filter(pk=piece.pk).update(state=PieceState.IN_USE)
    assert place.name not in client.get(reverse("piece", args=[piece.code])).content.decode()


def test_a_further_mark_is_put_on_a_piece_from_its_page() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    client = signed_in(Role.QUALITY)
    assert "Mark piece" in client.get(reverse("piece", args=[piece.code])).content.decode()
    client.post(reverse("add-mark", args=[piece.code]), {"text": "ENGRAVED-8", "replaces": "on", "key": "k"})
    assert [mark.text for mark in piece.marks.filter(current=True)] == ["ENGRAVED-8"]
    answer = client.post(reverse("add-mark", args=[piece.code]), {"text": "", "key": "j"}, follow=True)
    assert "Mark: " in answer.content.decode()


def test_nobody_marks_a_piece_without_the_right() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    client = signed_in(Role.NURSE)
    assert "Mark piece" not in client.get(reverse("piece", args=[piece.code])).content.decode()
    answer = client.post(reverse("add-mark", args=[piece.code]), {"text": "ENGRAVED-9", "key": "k"}, follow=True)
    assert "your sign-in does not hold the right" in answer.content.decode()
    assert not piece.marks.exists()
