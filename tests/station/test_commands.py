"""Command cards at a station, each with what it leaves behind."""

from __future__ import annotations

import pytest
from django.test import Client

from instruments.commands import Command
from instruments.identity import own_code
from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from tests import makers
from tests.station.desk import Clock, Station

pytestmark = pytest.mark.django_db


def in_hand(clock: Clock) -> tuple[Station, Piece]:
    """Somebody at the inspection bench with a cleaned piece."""
    piece = makers.piece(makers.part(name="Forceps"), state=PieceState.CLEANED)
    station = Station("inspect", clock)
    station.scan(piece.code)
    assert station.held["piece"] == piece.code
    return station, piece


def test_finish_lets_go_of_what_is_in_hand(clock: Clock) -> None:
    station, _ = in_hand(clock)
    answer = station.scan(Command.FINISH.code)
    assert (answer["result"], answer["what"]) == ("taken", "Finished with what was in hand.")
    assert station.held == {}
    assert station.scan(Command.FINISH.code)["what"] == "Nothing was in hand."


def test_next_person_signs_out_and_comes_back_to_the_same_work(clock: Clock) -> None:
    station, _ = in_hand(clock)
    response = station.client.post(station.address, {"code": Command.NEXT_PERSON.code})
    assert response.headers["HX-Redirect"] == "/sign-in/?next=/scan/inspect/"
    assert station.client.get(station.address).headers["Location"] == "/sign-in/?next=/scan/inspect/"


def test_next_person_works_without_javascript() -> None:
    client = Client()
    client.force_login(makers.everybody())
    response = client.post("/scan/inspect/", {"code": Command.NEXT_PERSON.code})
    assert (response.status_code, response.headers["Location"]) == (303, "/sign-in/?next=/scan/inspect/")
    assert "_auth_user_id" not in client.session


def test_set_aside_asks_and_a_second_scan_of_the_card_means_it(clock: Clock) -> None:
    station, piece = in_hand(clock)
    answer = station.scan(Command.SET_ASIDE.code)
    assert (answer["result"], answer["what"]) == ("look", f"{piece.code}: set it aside for repair?")
    assert Piece.objects.get(pk=piece.pk).state == PieceState.CLEANED
    too_soon = station.scan(Command.SET_ASIDE.code, after_s=1)
    assert too_soon["what"] == f"Cannot take {piece.code} as looked at: it was scanned twice within 2 seconds."
    station.scan(Command.SET_ASIDE.code)
    assert Piece.objects.get(pk=piece.pk).state == PieceState.IN_REPAIR
    line = PieceLine.objects.filter(piece=piece).last()
    assert line is not None
    assert line.reason == "Set aside with the command card; the fault is not described yet."
    assert station.held == {}


@pytest.mark.parametrize("mode", ["inspect", "store"])
def test_nothing_in_hand_cannot_be_set_aside(mode: str, clock: Clock) -> None:
    answer = Station(mode, clock).scan(Command.SET_ASIDE.code)
    assert (answer["result"], answer["what"]) == ("stop", "Cannot set aside: no piece is in hand, must be one.")


def test_a_question_is_taken_back(clock: Clock) -> None:
    station, piece = in_hand(clock)
    answer = station.scan(Command.UNDO_LAST.code)
    assert (answer["result"], answer["what"]) == ("taken", "Put down; nothing was recorded.")
    assert station.held == {}
    assert Piece.objects.get(pk=piece.pk).state == PieceState.CLEANED


def test_what_is_recorded_is_not_undone(clock: Clock) -> None:
    station, piece = in_hand(clock)
    station.scan(piece.code)
    assert Piece.objects.get(pk=piece.pk).state == PieceState.INSPECTED
    answer = station.scan(Command.UNDO_LAST.code)
    assert answer["result"] == "stop"
    assert answer["what"].startswith("Cannot undo here: it is recorded (")
    assert answer["next_step"] == "Open its page, and put it right by a new line there."
    assert station.scan(Command.UNDO_LAST.code)["what"] == "Cannot undo: the last scan changed nothing."


def test_help_opens_the_guide_at_the_work(clock: Clock) -> None:
    station = Station("inspect", clock)
    response = station.client.post(station.address, {"code": Command.HELP.code})
    assert response.headers["HX-Redirect"] == "/help/#inspect"


def test_a_card_is_no_thing_to_find(clock: Clock) -> None:
    for code in (Command.HELP.code, own_code("D", 99)):
        page = Station("inspect", clock).client.get("/find/", {"q": code}).content.decode()
        assert f"Cannot find {code}: it is a command card, must be the mark of a thing." in page
