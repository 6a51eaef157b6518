"""Notices that leave the unit: written with the notice, sent until they are taken, withdrawn once it is handled."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from config.celery import app
from journal.actions import Concern, acknowledge, close_channel, open_channel, send_again, tell
from journal.models import Channel, Delivery, Notice
from journal.outside import MOST_ATTEMPTS
from journal.roles import Role
from journal.tasks import send_notices
from journal.telling import climb, settle_delivery, take_up_delivery
from journal.webhook import Answer, secret_of
from tests import makers
from tests.architecture.tree import ROOT
from tests.journal.receiver import receiver
from tests.makers import act, at_once, refused

pytestmark = [pytest.mark.django_db]

MINUTE = timedelta(minutes=1)
SAID = "Load L000007L waits, said Erika Mustermann."
WAITING = Concern("decision:L000007L", Role.TECHNICIAN, SAID, "Ask her.", "/loads/L000007L/")
LEAD, DESK = "lead@unit.example", "desk@unit.example"


def mailed(address: str = DESK, role: str = "", **more: Any) -> Channel:
    done = open_channel("e-mail", address, role=role, **more, act=act())
    return Channel.objects.get(pk=done.pk)


def hooked(address: str) -> Channel:
    return Channel.objects.get(pk=open_channel("webhook", address, act=act()).pk)


def told(*concerns: Concern, topic: str = "decisions") -> None:
    tell(topic, concerns or [WAITING], at=timezone.now())


def due_now() -> None:
    Delivery.objects.still_open().update(due_at=timezone.now() - MINUTE)


def states() -> list[tuple[str, int, str]]:
    rows = Delivery.objects.select_related("channel", "notice").order_by("rung", "channel__address")
    return [(row.channel.address, row.rung, str(row.state)) for row in rows]


# What is written


def test_what_leaves_is_written_with_the_notice_and_again_when_it_climbs() -> None:
    mailed(DESK, Role.TECHNICIAN)
    mailed("list@unit.example", Role.COORDINATOR)
    mailed(LEAD, Role.QUALITY)
    mailed("all@unit.example")
    for _ in range(2):
        told()
    assert states() == [("all@unit.example", 0, "waiting"), (DESK, 0, "waiting")]
    for _ in range(2):
        climb(timezone.now() + 31 * MINUTE)
    assert states()[2:] == [("all@unit.example", 1, "waiting"), ("list@unit.example", 1, "waiting")]
    climb(timezone.now() + 100 * MINUTE)
    assert states()[4:] == [("all@unit.example", 2, "waiting"), (LEAD, 2, "waiting")]
    assert len(set(Delivery.objects.values_list("reference"))) == 6


def test_what_can_wait_for_a_working_day_leaves_only_by_a_channel_that_takes_all() -> None:
    mailed(DESK)
    mailed(LEAD, every_topic=True)
    told(topic="stock")
    assert states() == [(LEAD, 0, "waiting")]


def test_nothing_leaves_without_a_channel_or_about_channels() -> None:
    told()
    mailed(every_topic=True)
    told(Concern("channel:1", Role.QUALITY, "It fails."), topic="channels")
    assert Delivery.objects.count() == 0


def test_a_notice_that_is_handled_withdraws_what_was_not_sent() -> None:
    mailed()
    told()
    technician = makers.person(Role.TECHNICIAN)
    acknowledge(Notice.objects.get().pk, act=act(technician, at=timezone.now()))
    send_notices()
    assert (states(), mail.outbox) == ([(DESK, 0, "withdrawn")], [])
    climb(timezone.now() + 121 * MINUTE)
    tell("decisions", [], at=timezone.now() + 122 * MINUTE)
    send_notices()
    assert (states()[1:], mail.outbox) == ([(DESK, 1, "withdrawn")], [])


def test_what_was_sent_while_it_was_withdrawn_is_sent() -> None:
    mailed()
    told()
    taken = take_up_delivery(timezone.now(), at=timezone.now())
    assert taken is not None
    tell("decisions", [], at=timezone.now())
    settle_delivery(taken, Answer(taken=False, words="busy"), at=timezone.now())
    assert states() == [(DESK, 0, "withdrawn")]
    settle_delivery(taken, Answer(taken=True, words="ok"), at=timezone.now())
    assert states() == [(DESK, 0, "sent")]


# What is sent


def test_a_letter_says_nothing_that_people_wrote_and_names_itself(settings: Any) -> None:
    settings.SITE_ADDRESS = "https://unit.example"
    mailed()
    told()
    for _ in range(2):
        send_notices()
    (letter,) = mail.outbox
    delivery = Delivery.objects.get()
    assert (letter.to, delivery.attempts, str(delivery.state)) == ([DESK], 1, "sent")
    whole = letter.message().as_string()
    assert [word for word in ("Mustermann", "Ask her") if word in whole] == []
    assert f"Message-ID: <{delivery.reference}@localhost>" in whole
    assert f"https://unit.example/notices/{delivery.notice_id}/" in letter.body
    assert "decision:L000007L" in letter.subject


class Busy(EmailBackend):
    """A mail server that has no time at first."""

    turns = 0

    def send_messages(self, messages: Any) -> int:
        Busy.turns += 1
        if Busy.turns == 1:
            raise OSError("451 Try later")
        return super().send_messages(messages)


def test_a_letter_that_is_not_taken_is_sent_again_later(settings: Any) -> None:
    settings.EMAIL_BACKEND = f"{__name__}.Busy"
    mailed()
    told()
    send_notices()
    waiting = Delivery.objects.get()
    assert (str(waiting.state), waiting.answer, waiting.attempts) == ("waiting", "451 Try later", 1)
    send_notices()
    assert mail.outbox == []  # not before its time
    due_now()
    send_notices()
    assert f"<{waiting.reference}@" in mail.outbox[0].message()["Message-ID"]
    assert str(Delivery.objects.get().state) == "sent"


def recipe() -> Any:
    """The check that the documentation gives to the other side, as it stands there."""
    page = (ROOT / "docs" / "production.md").read_text()
    found: dict[str, Any] = {}
    exec(re.findall(r"```python\n(.*?)```", page, re.DOTALL)[0], found)
    return found["genuine"]


def test_a_webhook_is_signed_and_the_recipe_of_the_documentation_checks_it(settings: Any) -> None:
    with receiver(500, 200) as other:
        channel = hooked(other.address)
        told()
        for _ in range(3):
            send_notices()
            due_now()
    (first, body), (second, _) = other.got
    secret, genuine = secret_of(Path(settings.WEBHOOK_KEY_FILE).read_text(), channel.pk), recipe()
    assert genuine(secret, first, body)
    assert not genuine(secret, first, body + b" ")
    assert not genuine(secret_of("00" * 32, channel.pk), first, body)
    assert not genuine(secret, first | {"Lumenkeep-Moment": str(int(first["Lumenkeep-Moment"]) - 301)}, body)
    assert first["Lumenkeep-Reference"] == second["Lumenkeep-Reference"] == json.loads(body)["reference"]
    assert b"Mustermann" not in body
    delivery = Delivery.objects.get()
    assert (str(delivery.state), delivery.attempts, delivery.answer) == ("sent", 2, "200 OK. heard")


def test_what_is_never_taken_is_given_up_told_to_the_lead_and_sent_again_by_a_press(client: Client) -> None:
    lead = makers.person(Role.QUALITY)
    client.force_login(lead)
    with receiver(503) as other:
        channel = hooked(other.address)
        told()
        for _ in range(MOST_ATTEMPTS + 2):
            send_notices()
            due_now()
        assert len(other.got) == MOST_ATTEMPTS
        assert states() == [(other.address, 0, "could not be sent")]
        notice = Notice.objects.get(topic="channels")
        assert (notice.role, notice.deliveries.count()) == (Role.QUALITY, 0)
        page = client.get(reverse("channels")).content.decode()
        assert "503 Service Unavailable. heard" in page
        assert "Send again" in page
        other.statuses[:] = [200]
        client.post(reverse("channel-again", args=[channel.pk]), {"key": "k"})
        send_notices()
    assert len({headers["Lumenkeep-Reference"] for headers, _ in other.got}) == 1
    assert states() == [(other.address, 0, "sent")]
    assert Notice.objects.get(topic="channels").closed_at is not None
    assert refused(lambda: send_again(channel.pk, act=act())) == ["nothing-unsent"]


def test_an_address_that_the_site_no_longer_names_and_a_key_that_is_gone_are_said(settings: Any) -> None:
    hooked("http://127.0.0.1:9/")
    told()
    settings.WEBHOOK_KEY_FILE = "/nowhere/webhook_key"
    send_notices()
    assert "/nowhere/webhook_key" in Delivery.objects.get().answer
    settings.WEBHOOK_HOSTS = []
    due_now()
    send_notices()
    assert "its host is 127.0.0.1" in Delivery.objects.get().answer


@pytest.mark.jobs
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_once_send_it_once() -> None:
    with receiver() as other:
        hooked(other.address)
        told()
        at_once(*[send_notices] * 8)
        app.control.purge()
    assert (len(other.got), states()) == (1, [(other.address, 0, "sent")])


# The verbs


@pytest.mark.parametrize(
    ("kind", "address", "role"),
    [
        ("pager", DESK, ""),
        ("", DESK, ""),
        ("e-mail", DESK, "director"),
        ("e-mail", "", ""),
        ("e-mail", "desk", ""),
        ("e-mail", f"{DESK}, {LEAD}", ""),
        ("e-mail", f"{DESK}\nBcc: {LEAD}", ""),
        ("e-mail", "x" * 190 + "@unit.example", ""),
        ("webhook", "https://elsewhere.example/", ""),
        ("webhook", "ftp://127.0.0.1/", ""),
    ],
)
def test_a_channel_that_leads_nowhere_is_not_opened(kind: str, address: str, role: str) -> None:
    assert refused(lambda: open_channel(kind, address, role=role, act=act())) == ["channel-unfit"]
    assert Channel.objects.count() == 0


def test_a_channel_is_open_once_and_closed_for_good() -> None:
    channel = mailed(f" {DESK} ")
    assert refused(lambda: mailed(DESK)) == ["channel-open"]
    told()
    assert close_channel(channel.pk, act=act()).state == "closed"
    assert states() == [(DESK, 0, "withdrawn")]
    assert refused(lambda: close_channel(channel.pk, act=act())) == ["unknown-code"]
    assert mailed(DESK) != channel


def test_channels_are_matter_of_those_who_keep_the_master_data(client: Client) -> None:
    channel, nurse = mailed(), makers.person(Role.NURSE)
    for deed in (
        lambda: open_channel("e-mail", LEAD, act=act(nurse)),
        lambda: close_channel(channel.pk, act=act(nurse)),
        lambda: send_again(channel.pk, act=act(nurse)),
    ):
        assert refused(deed) == ["right-missing"]
    client.force_login(nurse)
    assert client.get(reverse("channels")).status_code == 403


def test_the_secret_of_a_webhook_is_read_out_by_a_command_that_makes_the_key(
    settings: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.WEBHOOK_KEY_FILE = tmp_path / "webhook_key"
    with pytest.raises(CommandError, match="no open channel"):
        call_command("webhook_secret", mailed().pk)
    channel = hooked("http://127.0.0.1:9/")
    for _ in range(2):
        call_command("webhook_secret", channel.pk)
    said = capsys.readouterr().out.split()
    assert said == [secret_of(settings.WEBHOOK_KEY_FILE.read_text(), channel.pk)] * 2
    assert settings.WEBHOOK_KEY_FILE.stat().st_mode & 0o077 == 0
    settings.WEBHOOK_KEY_FILE.write_text("no key")
    with pytest.raises(CommandError, match="64 hexadecimal digits"):
        call_command("webhook_secret", channel.pk)


# Pages


def test_the_pages_open_and_close_a_channel_and_show_what_has_left(client: Client) -> None:
    client.force_login(makers.person(Role.QUALITY))
    given = {"kind": "e-mail", "address": DESK, "role": Role.TECHNICIAN, "key": "1"}
    page = client.post(reverse("channel-open"), given, follow=True).content.decode()
    assert f"Notices leave by e-mail to {DESK} from now on." in page
    refusal = client.post(reverse("channel-open"), {**given, "kind": "drum", "key": "2"}, follow=True).content.decode()
    assert "By: " in refusal
    told()
    shown = client.get(reverse("notice", args=[Notice.objects.get().pk])).content.decode()
    assert (DESK in shown, "Waiting" in shown, SAID in shown) == (True, True, True)
    gone = client.post(reverse("channel-close", args=[Channel.objects.get().pk]), {"key": "3"}, follow=True)
    assert "None: notices stay in the unit." in gone.content.decode()


def test_a_notice_is_a_page_for_those_whom_it_is_shown_to(client: Client) -> None:
    told()
    address = reverse("notice", args=[Notice.objects.get().pk])
    for role, status in ((Role.TECHNICIAN, 200), (Role.NURSE, 404), (Role.QUALITY, 200)):
        client.force_login(makers.person(role))
        page = client.get(address)
        assert page.status_code == status
        assert (b"Acknowledge<" in page.content) is (role == Role.TECHNICIAN)


def test_the_page_of_channels_asks_the_same_whatever_is_unsent(client: Client) -> None:
    client.force_login(makers.person(Role.QUALITY))
    counts = []
    for number in (1, 9):
        for turn in range(number):
            mailed(f"desk-{number}-{turn}@unit.example")
        told(*[Concern(f"decision:L{number}{turn}", Role.TECHNICIAN, "Waits.") for turn in range(number)])
        Delivery.objects.update(attempts=8, given_up_at=timezone.now())
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("channels"))
        counts.append(len(queries))
    assert counts[0] == counts[1]


# What must never be false


@pytest.mark.storage
@pytest.mark.parametrize(
    ("broken", "fields"),
    [
        ("delivery_rung_known", {"rung": 3}),
        ("delivery_ends_one_way", {"attempts": 1, "delivered_at": makers.AT, "given_up_at": makers.AT}),
        ("delivery_ends_one_way", {"attempts": 1, "delivered_at": makers.AT, "withdrawn_at": makers.AT}),
        ("delivery_was_tried", {"delivered_at": makers.AT}),
        ("delivery_was_tried", {"given_up_at": makers.AT}),
    ],
)
def test_the_database_keeps_what_became_of_a_delivery(broken: str, fields: dict[str, Any]) -> None:
    mailed()
    told()
    with pytest.raises(IntegrityError, match=broken):
        Delivery.objects.update(**fields)


@pytest.mark.storage
def test_the_database_keeps_one_delivery_for_a_notice_channel_and_rung() -> None:
    mailed()
    told()
    row = Delivery.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        Delivery.objects.create(notice=row.notice, channel=row.channel, rung=0, made_at=makers.AT, due_at=makers.AT)


@pytest.mark.storage
@pytest.mark.parametrize(
    ("broken", "fields"),
    [
        ("channel_kind_known", {"kind": "drum"}),
        ("channel_leads_somewhere", {"address": ""}),
        ("channel_closed_by_somebody", {"closed_at": makers.AT}),
    ],
)
def test_the_database_keeps_channels_whole(broken: str, fields: dict[str, Any]) -> None:
    mailed()
    with pytest.raises(IntegrityError, match=broken):
        Channel.objects.update(**fields)


@pytest.mark.storage
def test_the_database_keeps_one_open_channel_to_an_address_for_a_role() -> None:
    mailed()
    with pytest.raises(IntegrityError), transaction.atomic():
        Channel.objects.create(kind="e-mail", address=DESK, opened_at=makers.AT)
