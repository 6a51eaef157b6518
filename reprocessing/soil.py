"""How long pieces have waited soiled before their wash."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from journal.findings import Finding, look

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Soil:
    """The longest that a piece of a load has waited between its return and the start of the wash.

    Args:
        piece: code of the piece that came back first.
        since: when it was counted back from its use.
        until: the start of the wash, or now.
        longest_min: how long the unit allows [min].

    Raises:
        ValueError: a time without a zone, or a limit below zero.
    """

    piece: str
    since: datetime
    until: datetime
    longest_min: int

    def __post_init__(self) -> None:
        if self.since.tzinfo is None or self.until.tzinfo is None or self.longest_min < 0:
            raise ValueError("A wait needs times with a zone and a limit of 0 or more.")

    @property
    def waited_min(self) -> int:
        """Whole minutes waited; none when the clocks say less."""
        return max(0, (self.until - self.since) // MINUTE)

    @property
    def over(self) -> bool:
        """Whether it waited longer than the unit allows."""
        return self.until - self.since > timedelta(minutes=self.longest_min)

    @property
    def words(self) -> str:
        """The wait, as a page tells it."""
        return f"{self.waited_min} min since the return of {self.piece}; the unit allows {self.longest_min} min"


def waited_too_long(subject: str, soil: Soil | None) -> Iterator[Finding]:
    """Soil that has dried is harder to remove: the wash is not forbidden, it is looked at more closely.

    Args:
        subject: the load.
        soil: its longest wait; None when nothing in it came back from use.

    Yields:
        One finding to look at when it is over the unit's limit.

    Source:
        J Hosp Infect 2011;78:251-255: drying raises the adsorption of protein to steel and weakens cleaning.
    """
    if soil is not None and soil.over:
        sentence = f"{subject} holds pieces that waited longer than allowed: {soil.words}."
        remedy = "Pre-clean again by hand, and inspect each piece closely; the load keeps the time."
        yield look("waited-too-long", subject, sentence, remedy)
