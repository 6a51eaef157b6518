"""An emergency on no list: its case is made with the set; the stock falls and the coordinators are told."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from journal.findings import Refused
from journal.models import Notice
from journal.roles import Role
from lists import actions
from lists.models import Case, Issue, StandingSet
from lists.reads import list_readiness, standing_sets
from lists.states import Readiness
from lists.tasks import watch_cases
from tests import makers
from tests.lists import makers as m
from tests.makers import act, at_once
from trays.models import Pack

pytestmark = pytest.mark.django_db


def standing() -> Pack:
    """A sterile standing set in date."""
    pack = m.sterile()
    Pack.objects.filter(pk=pack.pk).update(use_by=timezone.now() + timedelta(days=30))
    StandingSet.objects.create(template=m.tray_of(pack).template, minimum=1)
    return pack


def told() -> list[Notice]:
    return list(Notice.objects.still_open().filter(topic="emergency"))


def test_the_case_is_made_with_the_set_and_the_stock_falls() -> None:
    pack, room, at = standing(), m.theatre(), timezone.now()
    today = timezone.localdate(at)
    assert standing_sets(today, at=at)[0].sterile == 1
    done = actions.issue_emergency(pack.code, room.code, barrier_intact=True, act=act(at=at))
    case = Case.objects.get()
    assert (done.mark, case.emergency, case.list.theatre, case.list.day) == (case.code, True, room, today)
    assert f"is issued to emergency case {case.code} in Theatre 1" in done.sentence
    assert done.findings == ()
    assert Issue.objects.get().pack == pack
    assert standing_sets(today, at=at)[0].sterile == 0
    (row,) = list_readiness(today, at=at).rows
    assert row.readiness is not None
    assert row.readiness.verdict is Readiness.COMPLETE
    assert [line.verb for line in case.lines.all()] == ["plan", "issue"]


def test_the_coordinators_are_told_at_once_and_until_the_case_is_over() -> None:
    pack, at = standing(), timezone.now()
    later = m.case_with(m.tray_of(pack), starts_at=at + timedelta(days=1))
    done = actions.issue_emergency(pack.code, m.theatre().code, barrier_intact=True, act=act(at=at))
    assert f"{pack.code} was to serve case {later.code}." in [found["sentence"] for found in done.findings]
    (notice,) = told()
    assert (notice.cause, notice.role) == (f"emergency:{done.mark}", Role.COORDINATOR)
    assert f"It was to serve {later.code}." in notice.sentence
    for _ in range(2):
        watch_cases()
        assert told() == [notice]
    actions.open_pack(pack.code, done.mark, act=act(at=at))
    actions.end_case(done.mark, act=act(at=at))
    watch_cases()
    assert told() == []


def test_a_single_pack_and_a_set_that_does_not_stand_may_be_taken_and_are_looked_at() -> None:
    part = makers.part(single_use=True)
    pack = makers.maker_pack(part, expires=timezone.localdate() + timedelta(days=90))
    done = actions.issue_emergency(pack.code, m.theatre().code, barrier_intact=True, act=act(at=timezone.now()))
    assert [found["slug"] for found in done.findings] == ["not-standing"]
    assert m.need(Case.objects.get()).part == part
    other = m.sterile()
    Pack.objects.filter(pk=other.pk).update(use_by=timezone.now() + timedelta(days=30))
    done = actions.issue_emergency(other.code, m.theatre().code, barrier_intact=True, act=act(at=timezone.now()))
    assert [found["slug"] for found in done.findings] == ["not-standing"]


def test_what_stands_against_an_issue_stands_against_it_here_and_leaves_no_case() -> None:
    pack, room = standing(), m.theatre()
    with pytest.raises(Refused, match="must be intact"):
        actions.issue_emergency(pack.code, room.code, barrier_intact=False, act=act(at=timezone.now()))
    by = makers.person(Role.TECHNICIAN)
    with pytest.raises(Refused, match="right"):
        actions.issue_emergency(pack.code, room.code, barrier_intact=True, act=act(by, at=timezone.now()))
    with pytest.raises(Refused, match="theatre"):
        actions.issue_emergency(pack.code, "NOWHERE", barrier_intact=True, act=act(at=timezone.now()))
    assert not Case.objects.exists()
    assert not Notice.objects.exists()


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_two_emergencies_at_once_get_one_set_once() -> None:
    pack, room = standing(), m.theatre()

    def take() -> str:
        try:
            return actions.issue_emergency(pack.code, room.code, barrier_intact=True, act=act(at=timezone.now())).mark
        except Refused as refusal:
            return refusal.code

    answers = at_once(take, take)
    assert (Case.objects.count(), Issue.objects.count()) == (1, 1)
    assert "wrong-state" in answers
