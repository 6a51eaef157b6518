"""What a page of trays answers to a scan or a button; it looks and sounds like a station's answer."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest

from journal.actions import Done
from journal.findings import Refused


@dataclass(frozen=True, slots=True)
class Said:
    """An answer.

    Args:
        result: "taken", "look" or "stop".
        what: what happened.
        next_step: what to do.
        also: further things to look at, one sentence each.
    """

    result: str
    what: str
    next_step: str = ""
    also: tuple[str, ...] = ()

    @classmethod
    def of(cls, done: Done) -> Said:
        """What was done, with what to look at."""
        looks = tuple(f"{found['sentence']} {found['remedy']}".strip() for found in done.findings)
        return cls("look" if looks else "taken", done.sentence, done.next_step, looks)

    @classmethod
    def why_not(cls, refused: Refused) -> Said:
        """What stands against it."""
        first, *others = refused.findings
        return cls(first.severity, first.sentence, first.remedy, tuple(finding.words for finding in others))


def is_swap(request: HttpRequest) -> bool:
    """Whether the page asks for its changing part only."""
    return "HX-Request" in request.headers
