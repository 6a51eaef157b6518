"""What every action shares: who acts, one transaction, the line in the trail."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from instruments.models import Piece, PieceLine
from instruments.states import PIECE_MOVES, PieceState
from journal.actions import ACTIONS, Act, Done, action, move, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity
from journal.models import Receipt, Station
from journal.roles import Right, Role
from tests import makers
from tests.makers import AT, act, refused

pytestmark = pytest.mark.django_db


def test_acting_takes_a_time_with_a_zone() -> None:
    with pytest.raises(ValueError, match="without a zone"):
        Act(by=makers.person(), at=datetime(2026, 11, 24, 9, 0))  # noqa: DTZ001


def test_an_answer_survives_being_stored() -> None:
    finding = Finding("worn", Severity.LOOK, "P1", "P1 is worn.", numbers={"cycles": 3})
    done = Done("inspect", "piece", 1, "P1", "inspected", "P1 inspected.", "Pack it.", (finding.as_dict(),))
    assert Done.from_dict(done.as_dict()) == done


def test_actions_are_entered_under_their_app() -> None:
    import trays.actions  # noqa: PLC0415, F401

    assert {"instruments.enrol", "trays.finish_tray", "journal.correct"} <= set(ACTIONS)


def test_a_right_that_lacks_is_named() -> None:
    need(Right.MASTER, "enter", "P1", act(makers.person(Role.QUALITY)))
    with pytest.raises(Refused, match="Cannot enter P1: your sign-in does not hold the right “master”") as caught:
        need(Right.MASTER, "enter", "P1", act(makers.person(Role.NURSE)))
    assert caught.value.code == "right-missing"


def test_a_reason_is_trimmed_and_never_empty() -> None:
    assert reason_given("  bent ", "withdraw", "P1") == "bent"
    assert refused(lambda: reason_given(" \n", "withdraw", "P1")) == ["reason-missing"]


def test_a_line_says_who_when_where_how_and_why() -> None:
    piece, by = makers.piece(), makers.person(Role.TECHNICIAN)
    station = Station.objects.create(name="Bench 1", place=makers.place())
    acting = Act(by=by, at=AT, station=station, method="signature", key="scan-1")
    write_line(PieceLine, piece, "weigh", acting, reason="new scales", evidence={"mass_g": 12})
    line = PieceLine.objects.get(verb="weigh")
    assert (line.piece, line.person, line.occurred_at, line.station) == (piece, by, AT, station)
    assert (line.method, line.key, line.reason, line.evidence) == ("signature", "scan-1", "new scales", {"mass_g": 12})
    assert (line.origin, line.target, line.corrects) == ("", "", None)
    assert line.received_at >= line.occurred_at
    assert str(line) == f"{line.occurred_at:%Y-%m-%d %H:%M} weigh"


def test_a_move_writes_its_line_and_sets_state_and_fields() -> None:
    piece = makers.piece(state=PieceState.CLEANED)
    at = AT + timedelta(minutes=5)
    move(piece, PIECE_MOVES["inspect"], PieceLine, act(at=at), reason="by eye", inspected_at=at)
    piece = Piece.objects.get(pk=piece.pk)
    assert (piece.state, piece.inspected_at) == (PieceState.INSPECTED, at)
    line = PieceLine.objects.get(verb="inspect")
    assert (line.origin, line.target, line.reason) == (PieceState.CLEANED, PieceState.INSPECTED, "by eye")


def test_a_refused_move_writes_nothing() -> None:
    piece = makers.piece(state=PieceState.CLEANED)
    lines = PieceLine.objects.count()
    stuck = Finding("stuck", Severity.STOP, piece.code, "It is stuck.")
    assert refused(lambda: move(piece, PIECE_MOVES["inspect"], PieceLine, act(), facts=[stuck])) == ["stuck"]
    assert PieceLine.objects.count() == lines
    assert Piece.objects.get(pk=piece.pk).state == PieceState.CLEANED


def test_a_consequence_asks_no_right_of_its_own() -> None:
    piece, nobody = makers.piece(state=PieceState.CLEANED), act(makers.person())
    inspect = PIECE_MOVES["inspect"]
    assert refused(lambda: move(piece, inspect, PieceLine, nobody, inspected_at=AT)) == ["right-missing"]
    move(piece, inspect, PieceLine, nobody, follows=True, inspected_at=AT)
    assert refused(lambda: move(piece, PIECE_MOVES["clear"], PieceLine, nobody, follows=True)) == ["wrong-state"]


@pytest.fixture
def _actions_as_they_were() -> object:
    kept = dict(ACTIONS)
    yield
    ACTIONS.clear()
    ACTIONS.update(kept)


@pytest.mark.usefixtures("_actions_as_they_were")
def test_a_refused_request_may_be_sent_again_with_its_key() -> None:
    """Only what was done is kept: after its cause has gone, the same request goes through."""
    open_doors: list[str] = []

    @action
    def pass_door(door: str, *, act: Act) -> Done:
        write_line(PieceLine, piece, "pass_door", act)
        if door not in open_doors:
            raise Refused(Finding("shut", Severity.STOP, door, "The door is shut."))
        return Done("pass_door", "door", 1, door, "open", "Passed.")

    piece = makers.piece()
    assert refused(lambda: pass_door("D1", act=act(key="k"))) == ["shut"]
    assert (Receipt.objects.count(), PieceLine.objects.filter(verb="pass_door").count()) == (0, 0)
    open_doors.append("D1")
    assert pass_door("D1", act=act(key="k")) == pass_door("D1", act=act(key="k"))
    assert PieceLine.objects.filter(verb="pass_door").count() == 1


def test_a_key_belongs_to_one_person_one_verb_and_one_body() -> None:
    import instruments.actions as verbs  # noqa: PLC0415

    one, other = makers.piece(), makers.piece()
    verbs.miss(one.code, reason="gone", act=act(key="k"))
    for call in (
        lambda: verbs.miss(other.code, reason="gone", act=act(key="k")),
        lambda: verbs.miss(one.code, reason="lost", act=act(key="k")),
        lambda: verbs.withdraw(one.code, reason="gone", act=act(key="k")),
        lambda: verbs.miss(one.code, reason="gone", act=act(makers.person(Role.NURSE), key="k")),
    ):
        assert refused(call) == ["key-reused"]
