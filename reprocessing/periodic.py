"""Periodic tests of machines and of their water: rows of the unit's own, each with its period and its limits.

The tests of the machine day stand apart (`rules.py`); here is what comes due by the week, the quarter, the year.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import isfinite

from journal.findings import Finding, look, stop
from reprocessing.rules import MOMENT, machine_day_start


class About(StrEnum):
    """What a periodic test looks at."""

    MACHINE = "machine"
    WATER = "water"


@dataclass(frozen=True, slots=True)
class Within:
    """The limits of a measured value, in its unit.

    Args:
        unit: of the value and of both limits.
        least: least value; None where there is none.
        most: greatest value; None where there is none.

    Raises:
        ValueError: no unit, no limit, a limit that is not finite, or the least above the greatest.
    """

    unit: str
    least: float | None = None
    most: float | None = None

    def __post_init__(self) -> None:
        given = [limit for limit in (self.least, self.most) if limit is not None]
        if not self.unit or not given or not all(isfinite(limit) for limit in given) or given != sorted(given):
            raise ValueError("A measured test needs a unit and a least or greatest value, the least not above it.")

    @property
    def words(self) -> str:
        """As it follows “must be …”."""
        if self.least is None:
            return f"at most {self.most:g} {self.unit}"
        return f"at least {self.least:g} {self.unit}" if self.most is None else self._both

    @property
    def _both(self) -> str:
        return f"{self.least:g} to {self.most:g} {self.unit}"

    def holds(self, value: float, *, less_than: bool = False) -> bool:
        """Whether a result is within; one reported as less than a value is taken as that value, and has no least.

        Raises:
            ValueError: the value is not finite, or “less than” is said of a result that must have a least.
        """
        if not isfinite(value) or (less_than and self.least is not None):
            wanted = "a finite number, and no “less than” where there is a least value"
            raise ValueError(f"its result is {value:g}, must be {wanted}")
        return (self.least is None or value >= self.least) and (self.most is None or value <= self.most)


def judged(within: Within | None, value: float | None, *, passed: bool | None, less_than: bool = False) -> bool:
    """What a result says: a measured one by its value alone, any other by passed or failed alone.

    Args:
        within: its limits; None where nothing is measured.
        value: in their unit.
        passed: what was said of it.
        less_than: it was reported as less than the value.

    Raises:
        ValueError: it is not stated, or stated twice, or is no result; in words that follow a colon.
    """
    if within is None:
        if passed is None or value is not None or less_than:
            raise ValueError("its result is not stated as passed or failed alone, must be one of them")
        return passed
    if value is None or passed is not None:
        raise ValueError(f"its result is not stated as a value alone, must be one in {within.unit}")
    return within.holds(value, less_than=less_than)


@dataclass(frozen=True, slots=True)
class Taken:
    """The latest result of a periodic test of a machine.

    Args:
        passed: its result.
        at: when it was done or sampled, in the unit's time zone.

    Raises:
        ValueError: the time has no zone.
    """

    passed: bool
    at: datetime

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("A result needs a time with a zone.")


@dataclass(frozen=True, slots=True)
class Demanded:
    """How a machine stands with one periodic test.

    Args:
        name: of the test.
        every_days: its period, counted from the start of the machine day on which it was done [d].
        forbids: no routine load starts without it.
        last: its latest result; None when there was none.
        at: the moment asked for, in the unit's time zone.
        day_hour: hour at which a machine day begins [h].

    Raises:
        ValueError: a period below one day.
    """

    name: str
    every_days: int
    forbids: bool
    last: Taken | None
    at: datetime
    day_hour: int

    def __post_init__(self) -> None:
        if self.every_days < 1:
            raise ValueError("A period is at least one day.")

    @property
    def due_at(self) -> datetime | None:
        """When it is due again; None when it was never done."""
        if self.last is None:
            return None
        return machine_day_start(self.last.at, self.day_hour) + timedelta(days=self.every_days)

    @property
    def failed(self) -> bool:
        """Whether its latest result is a failure."""
        return self.last is not None and not self.last.passed

    @property
    def overdue(self) -> bool:
        """Whether it was never done, or its period is over."""
        return self.due_at is None or self.at >= self.due_at

    @property
    def valid(self) -> bool:
        """Passed, and its period is not over."""
        return not self.failed and not self.overdue

    @property
    def words(self) -> str:
        """How it stands, as it follows “the test …”."""
        if self.last is None or self.due_at is None:
            return "is not recorded"
        if self.failed:
            return f"failed on {self.last.at:{MOMENT}}"
        return f"{'was' if self.overdue else 'is'} due on {self.due_at:{MOMENT}}"


def periodic_tests_valid(subject: str, machine: str, demands: Iterable[Demanded]) -> Iterator[Finding]:
    """A routine load starts only where each required periodic test is passed and not overdue.

    Args:
        subject: the load.
        machine: the machine, as a person would name it.
        demands: how it stands with its periodic tests.

    Yields:
        A stop for each required one that lacks; a look for each other that failed or is overdue.
    """
    for demand in demands:
        if demand.valid:
            continue
        what = f"the periodic test “{demand.name}” of {machine} {demand.words}"
        if demand.forbids:
            sentence = f"Cannot start {subject}: {what}, must be passed and not overdue."
            yield stop("periodic-test-due", subject, sentence, "Do the test and record its result.")
        else:
            sentence = f"{what[0].upper()}{what[1:]}, should be passed and not overdue."
            yield look("periodic-test-due", subject, sentence, "Do the test and record its result.")
