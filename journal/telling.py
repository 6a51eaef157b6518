"""Notices: what a job finds that somebody must know of, told once and closed when its cause has gone.

What leaves the unit of it is written in the same transaction, a `Delivery` for each channel, and sent by a job after:
so it is neither lost nor sent for nothing, however a worker ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from textwrap import shorten
from typing import Any

from celery import current_app
from django.db import connection, transaction
from django.db.models import Max, Value
from django.db.models.functions import Greatest

from journal.ladder import RUNGS, Patience, rung_due
from journal.models import WORDS_LENGTH, Channel, Delivery, Notice
from journal.outside import CLIMBING, MOST_ATTEMPTS, wait_after
from journal.policies import PolicyValue
from journal.reads import policies
from journal.roles import Role
from journal.webhook import Answer

SENDING = "journal.tasks.send_notices"
AT_ONCE = 20
"""Deliveries that are looked at to find one that no other worker has."""


@dataclass(frozen=True, slots=True)
class Concern:
    """A cause that somebody must know of: what a job finds and a notice shows."""

    cause: str
    role: Role
    sentence: str
    remedy: str = ""
    link: str = ""


def tell(topic: str, concerns: Iterable[Concern], *, at: datetime) -> tuple[int, int]:
    """Bring the open notices of a topic in line with its concerns.

    Safe to run twice and beside itself: one run of a topic at a time writes. For what takes no time, or within a
    transaction; a generator is drawn when the topic is locked. A job that has to look takes `look_and_tell`.

    Args:
        topic: whose notices these are; no two topics share a cause.
        concerns: everything that somebody must know of now.
        at: the moment of the run.

    Returns:
        How many notices were opened and how many closed.
    """
    with transaction.atomic():
        _lock_topic(topic)
        wanted = {(concern.cause, str(concern.role)): concern for concern in concerns}
        opened = {(notice.cause, notice.role): notice for notice in Notice.objects.filter(topic=topic).still_open()}
        gone = [notice.pk for pair, notice in opened.items() if pair not in wanted]
        # A clock that lags behind another process's never closes a notice before it was opened.
        Notice.objects.filter(pk__in=gone).update(closed_at=Greatest("opened_at", Value(at)))
        withdraw(gone, at=at)
        for pair in wanted.keys() & opened.keys():
            _reword(opened[pair], wanted[pair])
        fresh = [
            Notice(topic=topic, opened_at=at, cause=concern.cause, role=concern.role, **_words(concern))
            for pair, concern in wanted.items()
            if pair not in opened
        ]
        Notice.objects.bulk_create(fresh)
        _dispatch(fresh, at=at)
        return len(fresh), len(gone)


def look_and_tell(topic: str, look: Callable[[], Iterable[Concern]], *, at: datetime) -> tuple[int, int]:
    """Look first, then bring the notices of a topic in line: nobody who writes waits while a job looks.

    If another run has written meanwhile, what was found may be older than what it wrote; then it is looked at again,
    behind the lock.

    Args:
        topic: whose notices these are.
        look: finds everything that somebody must know of now; called once or twice.
        at: the moment of the run.

    Returns:
        How many notices were opened and how many closed.
    """
    before = _written(topic)
    found = list(look())
    with transaction.atomic():
        _lock_topic(topic)
        return tell(topic, found if _written(topic) == before else look(), at=at)


def _written(topic: str) -> tuple[Any, ...]:
    """What runs of a topic have written: its newest notice, and all that its open ones say."""
    rows = Notice.objects.filter(topic=topic)
    said = rows.still_open().order_by("pk").values_list("pk", "sentence", "remedy", "link")
    return rows.aggregate(newest=Max("pk"))["newest"], *said


def climb(at: datetime) -> int:
    """Let every open notice climb that nobody took on in time; safe to run twice and beside itself.

    A notice climbs by one conditional change of its own row, so that it climbs once whoever runs this.

    Returns:
        How many climbed.
    """
    values = policies()
    patience = Patience(
        {1: _minutes(values["climb_coordinator_min"]), 2: _minutes(values["climb_lead_min"])},
        _minutes(values["acknowledged_min"]),
    )
    climbed = 0
    for row in Notice.objects.still_open().filter(topic__in=CLIMBING, rung__lt=max(RUNGS)):
        since, role = row.climbed_at or row.opened_at, Role(row.role)
        seen = row.acknowledged_at
        due = rung_due(role, row.rung, since=since, acknowledged_at=seen, at=at, patience=patience)
        if due != row.rung:
            same = Notice.objects.still_open().filter(pk=row.pk, rung=row.rung, acknowledged_at=seen)
            with transaction.atomic():
                if same.update(rung=due, climbed_at=at):
                    row.rung, row.climbed_at = due, at
                    _dispatch([row], at=at)
                    climbed += 1
    return climbed


def _dispatch(notices: Iterable[Notice], *, at: datetime) -> None:
    """Write down what is to leave the unit of notices, from the rung where they stand, and have it sent."""
    channels = list(Channel.objects.in_use())
    fresh = [
        Delivery(notice=notice, channel=channel, rung=notice.rung, made_at=at, due_at=at)
        for notice in notices
        for channel in channels
        if channel.takes(notice)
    ]
    if fresh:
        Delivery.objects.bulk_create(fresh)
        send_soon()


def send_soon() -> None:
    """Have the job send what is due once this transaction is committed.

    The timetable finds it too: a queue that does not answer is no fault of what was written.
    """
    transaction.on_commit(lambda: current_app.send_task(SENDING), robust=True)


def withdraw(notices: Iterable[int], *, at: datetime) -> None:
    """What was not sent yet of notices that are closed or taken on stays here."""
    Delivery.objects.still_open().filter(notice__in=notices).update(withdrawn_at=at)


def take_up_delivery(due: datetime, *, at: datetime) -> Delivery | None:
    """The next delivery that was due at a moment; whoever marks it sends it, and nobody else until its next attempt.

    So one whose worker dies between sending it and saying so is sent twice, with the same reference.
    """
    waiting = Delivery.objects.still_open().select_related("notice", "channel").order_by("due_at", "pk")
    for row in waiting.filter(due_at__lte=due)[:AT_ONCE]:
        same = Delivery.objects.still_open().filter(pk=row.pk, attempts=row.attempts)
        if same.update(attempts=row.attempts + 1, due_at=at + wait_after(row.attempts + 1)):
            row.attempts += 1
            return row
    return None


def settle_delivery(delivery: Delivery, answer: Answer, *, at: datetime) -> None:
    """Write down what came of an attempt; what has gone out is sent, even if it was withdrawn meanwhile."""
    row = Delivery.objects.filter(pk=delivery.pk, delivered_at=None)
    words = shorten(answer.words, WORDS_LENGTH, placeholder=" …")
    if answer.taken:
        row.update(delivered_at=at, withdrawn_at=None, given_up_at=None, answer=words)
    else:
        given_up = at if delivery.attempts >= MOST_ATTEMPTS else None
        row.filter(withdrawn_at=None, attempts=delivery.attempts).update(given_up_at=given_up, answer=words)


def _minutes(value: PolicyValue) -> timedelta:
    return timedelta(minutes=float(value))


def _lock_topic(topic: str) -> None:
    """Let other runs of this topic wait until the transaction ends; on SQLite it has the database for itself."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext('journal.notice'), hashtext(%s))", [topic])


def _words(concern: Concern) -> dict[str, str]:
    """What a notice says, cut at a word where its column ends."""
    said = {"sentence": concern.sentence, "remedy": concern.remedy}
    cut = {name: shorten(text, WORDS_LENGTH, placeholder=" …") for name, text in said.items()}
    return {**cut, "link": concern.link}


def _reword(notice: Notice, concern: Concern) -> None:
    """An open notice says what holds now."""
    words = _words(concern)
    if any(getattr(notice, name) != text for name, text in words.items()):
        Notice.objects.filter(pk=notice.pk).update(**words)
