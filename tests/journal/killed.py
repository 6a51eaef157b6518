"""A notice whose worker is killed at a step: told and sent by the worker that is started after."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection
from django.utils import timezone

from config.celery import app
from instruments import actions
from instruments.tasks import watch_life
from journal.actions import open_channel
from journal.models import Delivery, Notice
from tests import makers
from tests.dying import Life, until, worker
from tests.journal.receiver import Receiver, receiver

AFTER_S = 2.0  # how long what comes after the last sending may take
JOBS = ("life", "outside")  # what tells of a worn piece, and what sends


@contextmanager
def unit(data: Path) -> Iterator[tuple[Life, Receiver]]:
    """A unit whose notices leave by letter, into a folder, and by webhook."""
    letters = data / "letters"
    given = {
        "EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend",
        "EMAIL_FILE_PATH": str(letters),
        "WEBHOOK_HOSTS": settings.WEBHOOK_HOSTS,
    }
    with receiver() as other:
        for kind, address in (("webhook", other.address), ("e-mail", "lead@unit.example")):
            open_channel(kind, address, every_topic=True, act=makers.act())
        yield Life(connection.settings_dict["NAME"], data, JOBS, given=given), other
        app.control.purge()


@dataclass(frozen=True)
class Outcome:
    """Whether there was such a step, the last step in words, and how often the cause was sent by each channel."""

    died: bool
    step: str
    by_hook: int
    by_mail: int


def killed_once(life: Life, other: Receiver, **dies: Any) -> Outcome:
    """One cause; a worker that dies as said, and one that does not: it is told once, and sent."""
    piece = makers.piece(makers.part(life_limit=50), cycles=47)
    cause = f"life-ends-soon:{piece.code}"
    with worker(replace(life, **dies)) as process:
        until(lambda: _is_sent(cause), process)
        process.join(AFTER_S if dies else 0)
        died = not process.is_alive()
    step = life.steps[-1]
    # A notice and what is to leave of it are written together or not at all.
    told = Notice.objects.filter(cause=cause)
    assert Delivery.objects.filter(notice__in=told).count() == 2 * told.count() <= 2
    # An attempt that was marked is made again after a minute: the minute is taken off.
    Delivery.objects.still_open().update(due_at=timezone.now())
    with worker(life) as process:
        until(lambda: _is_sent(cause), process)
        assert process.is_alive()
    by_hook, by_mail = _told_once_and_sent(cause, other, life.data / "letters")
    actions.withdraw(piece.code, reason="worn out", act=makers.act(at=timezone.now()))
    watch_life()
    return Outcome(died, step, by_hook, by_mail)


def _is_sent(cause: str) -> bool:
    rows = Delivery.objects.filter(notice__cause=cause)
    return rows.count() == rows.exclude(delivered_at=None).count() == 2


def _told_once_and_sent(cause: str, other: Receiver, letters: Path) -> tuple[int, int]:
    notice = Notice.objects.get(cause=cause)
    by_hook, by_mail = notice.deliveries.order_by("channel")
    heard = [document["reference"] for _, body in other.got if (document := json.loads(body))["cause"] == cause]
    read = [text for path in letters.iterdir() if cause in (text := path.read_text())]
    named = [name for text in read for name in re.findall(r"^Message-ID: <(.*)@", text, re.MULTILINE)]
    assert heard in ([str(by_hook.reference)], [str(by_hook.reference)] * 2)
    assert named in ([str(by_mail.reference)], [str(by_mail.reference)] * 2)
    return len(heard), len(named)
