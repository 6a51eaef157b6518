"""Somebody at a station: scans and presses as the page sends them, and a clock that the test holds."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.test import Client

from journal.models import Person
from tests import makers
from tests.lists.makers import NOON


class Clock:
    """The time of day as the station sees it."""

    at = NOON + timedelta(minutes=30)

    def wait(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


class Station:
    """A kind of work with somebody at it.

    Args:
        mode: the work.
        clock: the time of day.
        by: who works; one who holds every role when nobody is named.
    """

    def __init__(self, mode: str, clock: Clock, by: Person | None = None) -> None:
        self.client = Client(headers={"HX-Request": "true"})
        self.client.force_login(by or makers.everybody())
        self.address = f"/scan/{mode}/"
        self.clock = clock
        self.shown: Any = None

    def scan(self, text: str, *, after_s: float = 5, key: str = "") -> dict[str, Any]:
        """Scan a mark some seconds after the last one; the answer as it stands in the Now zone."""
        self.clock.wait(after_s)
        return self._answer(self.client.post(self.address, {"code": text, "key": key}))

    def press(self, name: str, **fields: Any) -> dict[str, Any]:
        """Press a button."""
        return self._answer(self.client.post(f"{self.address}press/{name}/", fields))

    def _answer(self, response: Any) -> dict[str, Any]:
        now: dict[str, Any] = response.context["now"]
        assert f'data-result="{now["result"]}"' in response.content.decode()
        assert (response.status_code == 409) == (now["result"] == "stop")
        self.shown = response.context["shown"]
        return now

    @property
    def held(self) -> dict[str, str]:
        held: dict[str, str] = self.client.session["scan"][self.address.split("/")[2]].get("held", {})
        return held

    @property
    def open(self) -> list[str]:
        """What stands under Still open."""
        return [item.fact for item in self.shown.items]
