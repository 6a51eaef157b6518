"""Lots of detergent and other chemicals that a machine draws on: whether one may be used still."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from journal.findings import Finding, Severity

WHAT_TO_DO = "Connect a lot that is in date and record it on the machine’s page."


@dataclass(frozen=True, slots=True)
class Supply:
    """A lot of a product that a machine draws on.

    Args:
        product: what it is.
        lot: as its container says it.
        expires_on: its last day; None where the container names none.

    Raises:
        ValueError: no product, or no lot.
    """

    product: str
    lot: str
    expires_on: date | None = None

    def __post_init__(self) -> None:
        if not self.product.strip() or not self.lot.strip():
            raise ValueError("A supply needs a product and a lot.")

    def expired(self, today: date) -> bool:
        """Whether its last day is over."""
        return self.expires_on is not None and self.expires_on < today


def not_expired(
    verb: str, subject: str, machine: str, supplies: Iterable[Supply], *, today: date, forbids: bool
) -> Iterator[Finding]:
    """What a machine draws on is in date.

    Args:
        verb: as it stands in a sentence ("start").
        subject: what the verb is done to.
        machine: the machine, as a person would name it.
        supplies: what it draws on.
        today: the day of the unit.
        forbids: the unit's policy: an expired lot is a stop, else it is looked at.

    Yields:
        A finding for each expired lot.
    """
    for supply in supplies:
        if not supply.expired(today):
            continue
        found = f"lot {supply.lot} of {supply.product} on {machine} expired on {supply.expires_on}"
        cannot = f"Cannot {verb} {subject}: {found}, must be in date."
        sentence = cannot if forbids else f"{found[0].upper()}{found[1:]}, should be in date."
        yield Finding("lot-expired", Severity.STOP if forbids else Severity.LOOK, subject, sentence, WHAT_TO_DO)
