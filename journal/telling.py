"""Notices: what a job finds that somebody must know of, told once and closed when its cause has gone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from textwrap import shorten

from django.db import connection, transaction
from django.db.models import Value
from django.db.models.functions import Greatest

from journal.ladder import RUNGS, Patience, rung_due
from journal.models import WORDS_LENGTH, Notice
from journal.policies import PolicyValue
from journal.reads import policies
from journal.roles import Role

CLIMBING = ("cases", "decisions", "emergency", "messages", "trail")
"""Topics whose notices climb: they are matters of hours. The others wait for a working day."""


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

    Safe to run twice and beside itself: one run of a topic at a time looks and writes. Give the concerns
    as a generator: it is drawn when the topic is locked, so what it found is not older than what another
    run has written.

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
        for pair in wanted.keys() & opened.keys():
            _reword(opened[pair], wanted[pair])
        fresh = [
            Notice(topic=topic, opened_at=at, cause=concern.cause, role=concern.role, **_words(concern))
            for pair, concern in wanted.items()
            if pair not in opened
        ]
        Notice.objects.bulk_create(fresh)
        return len(fresh), len(gone)


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
            climbed += same.update(rung=due, climbed_at=at)
    return climbed


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
