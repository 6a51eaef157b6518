"""A browser without JavaScript, for the tests of pages: signs in, reads a page, sends a form."""

from __future__ import annotations

import html
import itertools
import re
from datetime import datetime, timedelta
from typing import Any

from django.test import Client
from django.utils import timezone

from journal.models import Person
from reprocessing import actions, states
from reprocessing.models import Load, Machine
from tests.makers import act
from tests.reprocessing import makers as make

PASSWORD = "a-password-of-the-tests"
_keys = itertools.count(1)


class Browser:
    """A person at a page."""

    def __init__(self, person: Person) -> None:
        person.set_password(PASSWORD)
        person.save(update_fields=["password"])
        self.client = Client()
        self.client.force_login(person)

    def read(self, address: str) -> str:
        """The text of a page, tags and repeated spaces left out."""
        answer = self.client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)
        return words(answer.content.decode())

    def source(self, address: str) -> str:
        """The page as HTML."""
        return self.client.get(address).content.decode()

    def send(self, address: str, **fields: Any) -> str:
        """Send a form as its page does, and read the page that follows."""
        answer = self.client.post(address, {"key": f"key-{next(_keys)}", **fields}, follow=True)
        assert answer.status_code == 200, (address, answer.status_code)
        return words(answer.content.decode())


def page(load: Load) -> str:
    """The address of a load's page."""
    return f"/loads/{load.code}/"


def words(source: str) -> str:
    """What a person reads."""
    text = re.sub(r"(?s)<(script|style|svg|template).*?</\1>|<[^>]*>", " ", source)
    return re.sub(r"\s+", " ", html.unescape(text)).strip()


def disabled(source: str) -> set[str]:
    """Labels of the buttons that cannot be pressed."""
    return {words(button) for button in re.findall(r"(?s)<button[^>]*\bdisabled\b.*?</button>", source)}


def machine_of_today(kind: states.MachineKind = states.MachineKind.STEAM, at: datetime | None = None) -> Machine:
    """A machine whose tests have just been passed."""
    made = make.machine(kind, tested=False)
    for test in states.DAY_TESTS[kind]:
        actions.record_test(made.code, test, passed=True, act=act(at=at or timezone.now()))
    return made


def running_now(*things: Any, kind: states.MachineKind = states.MachineKind.STEAM) -> Load:
    """A load that was started an hour ago by the clock on the wall."""
    started = timezone.now() - timedelta(hours=1)
    return make.running(make.load(machine_of_today(kind, started), *things), at=started)
