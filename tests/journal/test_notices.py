"""Notices: one open row for each cause and role, closed when the cause has gone."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from journal.actions import Concern, acknowledge, look_and_tell, tell
from journal.findings import Refused
from journal.models import Notice
from journal.roles import Role
from tests import makers
from tests.makers import AT, at_once

pytestmark = pytest.mark.django_db

WORN = Concern("cycles:P1", Role.QUALITY, "P1 has 2 of 50 cycles left.", "Order its replacement.", "/pieces/P1/")
LATER = AT + timedelta(hours=1)


def test_a_concern_is_told_once() -> None:
    assert tell("life", [WORN], at=AT) == (1, 0)
    assert tell("life", [WORN], at=LATER) == (0, 0)
    notice = Notice.objects.get()
    assert (notice.topic, notice.cause, notice.role, notice.link) == ("life", "cycles:P1", Role.QUALITY, "/pieces/P1/")
    assert (notice.sentence, notice.remedy) == (WORN.sentence, WORN.remedy)
    assert (notice.opened_at, notice.closed_at) == (AT, None)


def test_the_same_cause_is_told_to_each_role() -> None:
    for_nurse = Concern(WORN.cause, Role.NURSE, WORN.sentence)
    assert tell("life", [WORN, for_nurse, WORN], at=AT) == (2, 0)


def test_a_notice_closes_when_its_cause_has_gone_and_opens_anew_when_it_returns() -> None:
    tell("life", [WORN], at=AT)
    assert tell("life", [], at=LATER) == (0, 1)
    assert Notice.objects.get().closed_at == LATER
    assert tell("life", [WORN], at=LATER) == (1, 0)
    assert Notice.objects.still_open().count() == 1


def test_topics_leave_each_other_alone() -> None:
    tell("life", [WORN], at=AT)
    assert tell("expiry", [], at=LATER) == (0, 0)
    assert Notice.objects.still_open().count() == 1


def test_an_open_notice_says_what_holds_now() -> None:
    tell("life", [WORN], at=AT)
    tell("life", [Concern(WORN.cause, WORN.role, "P1 has 1 of 50 cycles left.", WORN.remedy)], at=LATER)
    notice = Notice.objects.get()
    assert (notice.sentence, notice.opened_at) == ("P1 has 1 of 50 cycles left.", AT)


def test_a_clock_that_lags_closes_nothing_before_it_was_opened() -> None:
    tell("life", [WORN], at=LATER)
    tell("life", [], at=AT)
    assert Notice.objects.get().closed_at == LATER


def test_long_words_are_cut_where_the_column_ends() -> None:
    tell("life", [Concern("c", Role.NURSE, "word " * 200)], at=AT)
    assert Notice.objects.get().sentence.endswith(" …")


def test_a_notice_is_shown_to_the_roles_concerned() -> None:
    tell("life", [WORN], at=AT)
    assert Notice.objects.shown_to(makers.person(Role.QUALITY)).count() == 1
    assert Notice.objects.shown_to(makers.person(Role.NURSE, Role.COORDINATOR)).count() == 0
    assert Notice.objects.shown_to(makers.person()).count() == 0


def test_whom_it_is_shown_to_acknowledges_it_and_it_still_closes_with_its_cause() -> None:
    tell("life", [WORN], at=AT)
    lead, notice = makers.person(Role.QUALITY), Notice.objects.get()
    done = acknowledge(notice.pk, act=makers.act(lead, at=LATER))
    assert done.sentence == f"You have taken on: {WORN.sentence}"
    notice.refresh_from_db()
    assert (notice.acknowledged_by, notice.acknowledged_at, notice.closed_at) == (lead, LATER, None)
    assert tell("life", [WORN], at=LATER) == (0, 0)
    assert tell("life", [], at=LATER) == (0, 1)
    with pytest.raises(Refused, match="it is closed, must be open"):
        acknowledge(notice.pk, act=makers.act(lead, at=LATER))


def test_nobody_acknowledges_what_is_not_shown_to_them_before_it_has_climbed_to_them() -> None:
    tell("life", [Concern("c", Role.TECHNICIAN, "A washer waits.")], at=AT)
    notice, coordinator = Notice.objects.get(), makers.person(Role.COORDINATOR)
    with pytest.raises(Refused, match="notice for your roles"):
        acknowledge(notice.pk, act=makers.act(coordinator, at=LATER))
    Notice.objects.update(rung=1, climbed_at=LATER)
    acknowledge(notice.pk, act=makers.act(coordinator, at=LATER))
    assert Notice.objects.get().acknowledged_by == coordinator


def test_the_page_acknowledges(client: Client) -> None:
    tell("life", [WORN], at=AT)
    client.force_login(makers.person(Role.QUALITY))
    notice = Notice.objects.get()
    shown = client.post(reverse("notice-acknowledge", args=[notice.pk]), follow=True).content.decode()
    assert "You have taken on: P1 has 2 of 50 cycles left." in shown
    assert "Acknowledged by" in shown


@pytest.mark.storage
@pytest.mark.parametrize(
    "fields", [{"acknowledged_at": LATER}, {"rung": 3, "climbed_at": LATER}, {"rung": 1}, {"climbed_at": LATER}]
)
def test_the_database_keeps_who_acknowledged_and_how_far_it_climbed(fields: dict[str, Any]) -> None:
    tell("life", [WORN], at=AT)
    with pytest.raises(IntegrityError, match=r"notice_acknowledged_by_somebody|notice_climbs_the_rungs"):
        Notice.objects.update(**fields)


@pytest.mark.locking
@pytest.mark.jobs
@pytest.mark.django_db(transaction=True)
def test_eight_runs_at_once_tell_it_once() -> None:
    answers = makers.at_once(*[lambda: tell("life", (concern for concern in [WORN]), at=AT)] * 8)
    assert sorted(answers) == [(0, 0)] * 7 + [(1, 0)]
    assert Notice.objects.count() == 1
    closing = makers.at_once(*[lambda: tell("life", [], at=LATER)] * 8)
    assert sorted(closing) == [(0, 0)] * 7 + [(0, 1)]


def test_what_another_run_has_written_meanwhile_is_looked_at_again() -> None:
    looks = []

    def look() -> list[Concern]:
        looks.append(1)
        if len(looks) == 1:
            tell("life", [WORN], at=AT)
            return []
        return [WORN]

    assert look_and_tell("life", look, at=LATER) == (0, 0)
    assert (len(looks), Notice.objects.get().closed_at) == (2, None)
    assert look_and_tell("life", list, at=LATER) == (0, 1)
    assert len(looks) == 2


@pytest.mark.locking
@pytest.mark.jobs
@pytest.mark.django_db(transaction=True)
def test_nobody_who_writes_waits_while_a_job_looks() -> None:
    def look() -> list[Concern]:
        (place,) = at_once(lambda: makers.place("Store B"))  # on a connection of its own; would wait for 30 s
        return [Concern(f"place:{place.pk}", Role.NURSE, "A store is new.")]

    assert look_and_tell("places", look, at=AT) == (1, 0)


@pytest.mark.storage
def test_the_database_keeps_one_open_notice_for_a_cause_and_role() -> None:
    tell("life", [WORN], at=AT)
    with pytest.raises(IntegrityError), transaction.atomic():
        Notice.objects.create(topic="other", cause=WORN.cause, role=WORN.role, sentence="again")
    with pytest.raises(IntegrityError), transaction.atomic():
        Notice.objects.update(closed_at=AT - timedelta(minutes=1))
