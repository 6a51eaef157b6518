"""Jobs on the trail, sealed and checked, and on notices, which climb and leave the unit."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from pathlib import Path
from smtplib import SMTPException

from celery import shared_task
from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Q
from django.utils import timezone

from journal import webhook
from journal.actions import Concern, look_and_tell
from journal.models import Delivery, Verification
from journal.outside import CHANNELS, ChannelKind, webhook_fault
from journal.reads import TAIL_MOST, failing_channels, tail
from journal.roles import Role
from journal.sealing import seal, verify
from journal.telling import climb, settle_delivery, take_up_delivery

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
    look_and_tell("trail", lambda: _troubles(at), at=at)


@shared_task
def climb_notices() -> None:
    """Let notices climb that nobody took on in time."""
    climb(timezone.now())


@shared_task
def send_notices() -> None:
    """Send what is to leave the unit, one after the other and outside any transaction; tell of channels that fail."""
    due = timezone.now()
    while (delivery := take_up_delivery(due, at=timezone.now())) is not None:
        settle_delivery(delivery, _sent(delivery), at=timezone.now())
    look_and_tell(CHANNELS, lambda: _failing(timezone.now()), at=timezone.now())


def _sent(delivery: Delivery) -> webhook.Answer:
    send = {ChannelKind.E_MAIL: _by_mail, ChannelKind.WEBHOOK: _by_webhook}[ChannelKind(delivery.channel.kind)]
    try:
        return send(delivery)
    except (OSError, SMTPException, ValueError) as fault:
        return webhook.Answer(taken=False, words=str(fault) or type(fault).__name__)


def _by_mail(delivery: Delivery) -> webhook.Answer:
    outgoing, sender = delivery.outgoing, settings.DEFAULT_FROM_EMAIL
    named = {"Message-ID": f"<{outgoing.reference}@{sender.rpartition('@')[2]}>"}
    letter = EmailMessage(outgoing.subject, outgoing.text, sender, [delivery.channel.address], headers=named)
    letter.send()
    return webhook.Answer(taken=True, words="The mail server has taken it.")


def _by_webhook(delivery: Delivery) -> webhook.Answer:
    channel, outgoing = delivery.channel, delivery.outgoing
    if fault := webhook_fault(channel.address, settings.WEBHOOK_HOSTS):
        raise ValueError(f"Cannot send to {channel.address}: {fault}.")
    secret = webhook.secret_of(Path(settings.WEBHOOK_KEY_FILE).read_text(), channel.pk)
    body = json.dumps(outgoing.document).encode()
    sent = webhook.headers(secret, outgoing.reference, int(timezone.now().timestamp()), body)
    return webhook.post(channel.address, body, sent)


def _failing(at: datetime) -> Iterator[Concern]:
    for channel, unsent in failing_channels(at):
        number = "1 notice" if unsent == 1 else f"{unsent} notices"
        yield Concern(
            cause=f"channel:{channel.pk}",
            role=Role.QUALITY,
            sentence=f"{number} could not be sent by {channel}.",
            remedy="Look at what the other side said, put it right, and send again.",
            link="/notices/channels/",
        )


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
