"""What leaves the unit of a notice: words that name no person, when to try again, which addresses may be reached."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from urllib.parse import urlsplit


class ChannelKind(StrEnum):
    """A way in which notices leave the unit."""

    E_MAIL = "e-mail"
    WEBHOOK = "webhook"


class DeliveryState(StrEnum):
    """What has become of a notice on a channel."""

    WAITING = "waiting"
    SENT = "sent"
    WITHDRAWN = "withdrawn"
    UNSENT = "could not be sent"


CLIMBING = ("cases", "decisions", "emergency", "messages", "trail")
"""Topics that are matters of hours: their notices climb. The others wait for a working day."""
CHANNELS = "channels"
"""The topic of channels that fail; it never leaves by one."""
TOPICS: Mapping[str, str] = {
    "cases": "a case, a standing set or a missing piece",
    "completion": "trays that can be completed",
    "decisions": "a decision on a load",
    "emergency": "an emergency set",
    "expiry": "a pack that expires",
    "fixes": "work asked for a case",
    "life": "service or life of a piece",
    "loans": "a loan",
    "machines": "a test of a machine, or what it draws on",
    "messages": "a message of a list system",
    "records": "a record of a machine",
    "stock": "stock",
    "trail": "the sealed trail",
}
"""What each topic is about."""

MOST_ATTEMPTS = 8
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=1), timedelta(hours=1)


def wait_after(attempts: int) -> timedelta:
    """How long to wait after so many attempts: 1 min, then twice as long each time, up to an hour."""
    doubled: timedelta = FIRST_WAIT * 2 ** (attempts - 1)
    return min(doubled, LONGEST_WAIT)


@dataclass(frozen=True, slots=True)
class Outgoing:
    """What leaves of a notice. It is made of codes and fixed words alone.

    What a notice says is left out: people write some of it, and it could be read by anybody on its way.

    Args:
        reference: the same at each attempt; whoever receives it twice drops the second.
        notice: its number.
        topic: what it is about.
        cause: kind and code of the cause ("case:C000007L").
        role: whom it is for on this rung.
        rung: how far it had climbed.
        opened_at: when it was opened.
        page: address of the page with what it says.
    """

    reference: str
    notice: int
    topic: str
    cause: str
    role: str
    rung: int
    opened_at: datetime
    page: str

    @property
    def about(self) -> str:
        """What it is about, in words."""
        return TOPICS.get(self.topic, self.topic)

    @property
    def subject(self) -> str:
        """One line."""
        return f"Notice {self.notice} for the {self.role}: {self.about} ({self.cause})"

    @property
    def text(self) -> str:
        """A short letter."""
        climbed = "\nNobody has acknowledged it, so it has climbed to you." if self.rung else ""
        return (
            f"A notice for the {self.role} is open since {self.opened_at:%d-%b-%Y %H:%M}: "
            f"{self.about} ({self.cause}).{climbed}\n\n"
            f"Read and acknowledge it: {self.page}\n\n"
            "What it says is left out here, for a letter can be read by others."
        )

    @property
    def document(self) -> dict[str, str | int]:
        """The same for a program."""
        return {
            "reference": self.reference,
            "notice": self.notice,
            "topic": self.topic,
            "cause": self.cause,
            "role": self.role,
            "rung": self.rung,
            "opened_at": self.opened_at.isoformat(),
            "page": self.page,
        }


def webhook_fault(address: str, hosts: Collection[str]) -> str:
    """What stands against an address of a webhook, as found and expected; empty when it may be reached.

    Args:
        address: as somebody wrote it.
        hosts: the hosts that the site lets notices go to.
    """
    try:
        parts = urlsplit(address)
        parts.port  # noqa: B018 - raises when it is no number
    except ValueError:
        return "it cannot be read, must be an address like https://pager.example/notices"
    if any(ord(character) <= 32 or ord(character) > 126 for character in address):
        return "it holds a blank or a letter outside ASCII, must hold none"
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return f"it begins with {parts.scheme or 'nothing'}, must begin with https:// or http:// and a host"
    if parts.username is not None or parts.fragment:
        return "it holds a name, password or fragment, must hold none"
    if parts.hostname not in hosts:
        allowed = ", ".join(sorted(hosts)) or "now none"
        return f"its host is {parts.hostname}, must be one that the site names in WEBHOOK_HOSTS ({allowed})"
    return ""
