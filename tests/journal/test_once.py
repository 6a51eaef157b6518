"""One idempotency key, one effect, one answer."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

import pytest

from instruments import actions as instrument_actions
from instruments.models import Piece
from journal.actions import Done
from journal.findings import Refused
from journal.models import Receipt
from tests import makers
from tests.makers import AT, act
from trays.actions import (
    finish_tray,
    pack_single,
    put_on_tray,
)
from trays.models import Pack, Placement

pytestmark = pytest.mark.django_db


# One key, one effect


def test_the_same_request_again_gets_the_stored_answer() -> None:
    piece, tray = makers.piece(), makers.tray()
    first = put_on_tray(piece.code, tray.code, act=act(key="scan-1"))
    again = put_on_tray(piece.code, tray.code, act=act(key="scan-1", at=AT + timedelta(hours=1)))
    assert again == first
    assert Placement.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_key_sent_eight_times_has_one_effect_and_eight_equal_answers() -> None:
    tray, who = makers.lay(makers.tray()), act(key="finish-1")
    answers = makers.at_once(*[lambda: finish_tray(tray.code, act=who)] * 8)
    assert all(isinstance(answer, Done) for answer in answers), answers
    assert all(answer == answers[0] for answer in answers)
    assert Pack.objects.count() == Receipt.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_key_holds_even_where_the_verb_could_be_repeated() -> None:
    part, who = makers.part(), act(key="enrol-1")
    answers = makers.at_once(*[lambda: instrument_actions.enrol(part.code, act=who)] * 8)
    assert all(answer == answers[0] for answer in answers), answers
    assert Piece.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_key_for_eight_requests_serves_one() -> None:
    pieces, who = [makers.piece() for _ in range(8)], act(key="pack-1")
    answers = makers.at_once(*(partial(pack_single, piece.code, act=who) for piece in pieces))
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    assert {answer.code for answer in answers if isinstance(answer, Refused)} == {"key-reused"}
    assert Pack.objects.count() == 1
