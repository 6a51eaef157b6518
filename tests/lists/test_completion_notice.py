"""The notice of trays that a few moves complete: told once to each role, closed when the pieces lie on them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from instruments.models import Piece
from journal.models import Notice
from journal.roles import Role
from lists import actions
from lists.tasks import watch_completion
from tests import makers
from tests.lists import makers as m
from tests.makers import at_once
from tests.test_jobs import now_act, told
from trays import actions as tray_actions
from trays.models import Tray

pytestmark = [pytest.mark.jobs, pytest.mark.django_db]


def _a_tray_lacks_what_the_shelf_has() -> None:
    part, other = makers.part(), makers.part()
    tray = makers.lay(makers.tray(makers.template(part, other)), makers.piece(part))
    makers.piece(other)
    case = m.case(tray.template, starts_at=timezone.localtime().replace(hour=12, minute=0) + timedelta(days=1))
    actions.allocate(m.need(case).pk, tray=tray.code, act=now_act())


def test_trays_that_moves_complete_are_told_until_the_pieces_lie_on_them() -> None:
    watch_completion()
    assert told() == []
    _a_tray_lacks_what_the_shelf_has()
    day = timezone.localdate() + timedelta(days=1)
    expected = [(f"completion:{day}", role, f"/lists/{day}/complete/") for role in (Role.COORDINATOR, Role.TECHNICIAN)]
    for _ in range(2):
        watch_completion()
        assert told() == sorted(expected)
    assert "1 tray for " in Notice.objects.all()[0].sentence
    assert "can be completed with 1 move." in Notice.objects.all()[0].sentence
    free = Piece.objects.get(state="inspected")
    tray_actions.put_on_tray(free.code, Tray.objects.get().code, act=now_act())
    for _ in range(2):
        watch_completion()
        assert told() == []
    assert Notice.objects.count() == len(expected)


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_completion_watched_by_eight_at_once_is_told_once_to_each_role() -> None:
    _a_tray_lacks_what_the_shelf_has()
    at_once(*[watch_completion] * 8)
    assert (len(told()), Notice.objects.count()) == (2, 2)
