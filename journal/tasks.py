"""Jobs on the trail: sealing it, checking it by night and when somebody asks, telling the quality lead of faults."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from celery import shared_task
from django.db.models import Q
from django.utils import timezone

from journal.actions import Concern, tell
from journal.models import Verification
from journal.reads import TAIL_MOST, tail
from journal.roles import Role
from journal.sealing import seal, verify
from journal.telling import climb

NIGHT = time(3)
"""When the nightly check is due, in the unit's time; a night that was missed is made up."""
ABANDONED = timedelta(hours=1)
"""A check that began so long ago and is not finished died with its worker."""
SENTENCES = 50
PAGE = "/trail/"


@shared_task
def seal_trail() -> None:
    """Seal what was written since the last run."""
    seal()


@shared_task
def watch_trail() -> None:
    """Check the trail if that is due or was asked for, and tell the quality lead what is wrong with it."""
    at = timezone.now()
    night = timezone.localtime(at - timedelta(hours=NIGHT.hour)).date()
    Verification.objects.get_or_create(night=night, defaults={"asked_at": at})
    _answer(at)
    tell("trail", _troubles(at), at=at)


@shared_task
def climb_notices() -> None:
    """Let notices climb that nobody took on in time."""
    climb(timezone.now())


def _answer(at: datetime) -> None:
    """Whoever marks a check as begun does it, and nobody else."""
    mine = Verification.objects.filter(Q(started_at=None) | Q(started_at__lt=at - ABANDONED), finished_at=None)
    if not mine.update(started_at=at):
        return
    report = verify()
    Verification.objects.filter(started_at=at, finished_at=None).update(
        finished_at=timezone.now(),
        rows=report.rows,
        faults=len(report.findings),
        sentences=[finding.sentence for finding in report.findings[:SENTENCES]],
    )


def _troubles(at: datetime) -> Iterator[Concern]:
    last = Verification.objects.exclude(finished_at=None).first()
    if last is not None and last.faults:
        number = "1 fault" if last.faults == 1 else f"{last.faults} faults"
        yield Concern(
            cause="trail:faults",
            role=Role.QUALITY,
            sentence=f"The trail is not as it was sealed, {number}: {last.sentences[0]}",
            remedy="Keep the database as it is now and look at the list.",
            link=PAGE,
        )
    waiting = tail()
    if waiting.age(at) > TAIL_MOST and waiting.since:
        since = timezone.localtime(waiting.since)
        yield Concern(
            cause="trail:tail",
            role=Role.QUALITY,
            sentence=f"Lines of the trail wait for their seal since {since:%d-%b-%Y %H:%M}.",
            remedy="Have somebody look whether the jobs run and the key of the trail is in its place.",
            link=PAGE,
        )
