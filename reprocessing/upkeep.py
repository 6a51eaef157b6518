"""The upkeep of a machine: when it is closed, and the test cycles that it must pass before it runs loads again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from journal.findings import Finding, stop
from reprocessing.states import LoadState, Result


@dataclass(frozen=True, slots=True)
class EmptyCycle:
    """A load without content, run to see whether a machine works.

    Args:
        load: its code.
        state: its state.
        indicators: what each of its indicators says.
        indicator_needed: at least one of them must have been read; for sterilisers.
    """

    load: str
    state: LoadState
    indicators: tuple[Result, ...] = ()
    indicator_needed: bool = False

    @property
    def result(self) -> Result:
        """Failed by its decision or by an indicator; passed when released with every indicator read and passed."""
        if self.state in (LoadState.REJECTED, LoadState.RECALLED) or Result.FAILED in self.indicators:
            return Result.FAILED
        shown = bool(self.indicators) or not self.indicator_needed
        complete = self.state == LoadState.RELEASED and Result.WAITING not in self.indicators and shown
        return Result.PASSED if complete else Result.WAITING


@dataclass(frozen=True, slots=True)
class Proof:
    """How far a machine has shown by test cycles that it works.

    Args:
        passed: cycles passed one after the other, up to now.
        wanted: how many the unit asks for.
        waiting: codes of cycles that are not decided, or have an indicator to read.

    Raises:
        ValueError: a number below zero.
    """

    passed: int
    wanted: int
    waiting: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.passed < 0 or self.wanted < 0:
            raise ValueError("Numbers of test cycles must be 0 or more.")

    @property
    def enough(self) -> bool:
        """Whether it may return by this."""
        return self.passed >= self.wanted

    @property
    def words(self) -> str:
        """The count, as it stands on a page: “2 of 3 passed”."""
        waits = f"; waiting for their result: {', '.join(self.waiting)}" if self.waiting else ""
        return f"{self.passed} of {self.wanted} passed{waits}"


def proof_of(cycles: Iterable[EmptyCycle], *, wanted: int) -> Proof:
    """Count the test cycles passed in a row; a failed one begins the count anew, a waiting one is left out.

    Args:
        cycles: those run since the machine went out of service, in order of their start.
        wanted: how many the unit asks for.

    Source:
        CDC Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008: three consecutive cycles
        without content after a failure or a major repair.
    """
    passed, waiting = 0, []
    for cycle in cycles:
        if cycle.result is Result.WAITING:
            waiting.append(cycle.load)
        else:
            passed = passed + 1 if cycle.result is Result.PASSED else 0
    return Proof(passed, wanted, tuple(waiting))


def proven(subject: str, machine: str, proof: Proof) -> Iterator[Finding]:
    """A machine returns to service only after enough test cycles passed in a row.

    Args:
        subject: code of the machine.
        machine: the machine, as a person would name it.
        proof: how far it is.

    Yields:
        One stop while it is not enough.
    """
    if not proof.enough:
        yield stop(
            "too-few-test-cycles",
            subject,
            f"Cannot return {machine} to service: of its test cycles in a row {proof.words}, "
            f"must be {proof.wanted} of {proof.wanted}.",
            "Run a test load, which holds nothing, read its indicators, and have it released.",
            passed=proof.passed,
            wanted=proof.wanted,
        )


@dataclass(frozen=True, slots=True)
class Closure:
    """A time in which a machine runs no routine load.

    Args:
        starts_at: its first moment.
        ends_at: the first moment after it.
        reason: what it is for.

    Raises:
        ValueError: a time without a zone, an end that is not after the start, or no reason.
    """

    starts_at: datetime
    ends_at: datetime
    reason: str

    def __post_init__(self) -> None:
        if self.starts_at.tzinfo is None or self.ends_at.tzinfo is None:
            raise ValueError("A closure needs times with a zone.")
        if self.ends_at <= self.starts_at or not self.reason:
            raise ValueError("A closure ends after it starts, and has a reason.")

    def holds(self, at: datetime) -> bool:
        """Whether the machine is closed at a moment."""
        return self.starts_at <= at < self.ends_at


def not_closed(subject: str, machine: str, closures: Iterable[Closure], *, at: datetime) -> Iterator[Finding]:
    """No routine load starts while its machine is closed.

    Args:
        subject: the load.
        machine: the machine, as a person would name it.
        closures: those in force.
        at: the start, in the unit's time zone.

    Yields:
        A stop for each closure that holds then.
    """
    for closure in closures:
        if closure.holds(at):
            until = closure.ends_at.astimezone(at.tzinfo)
            yield stop(
                "machine-closed",
                subject,
                f"Cannot start {subject}: {machine} is closed until {until:%a %d-%b-%Y %H:%M} ({closure.reason}), "
                "must be open.",
                "Use another machine, or lift the closure on the machine's page.",
            )


def closure_in_time(machine: str, starts_at: datetime, ends_at: datetime, *, now: datetime) -> Iterator[Finding]:
    """A closure ends after it starts, and is not over already.

    Args:
        machine: the machine, as a person would name it.
        starts_at: its first moment.
        ends_at: the first moment after it.
        now: the moment of planning.

    Yields:
        A stop for each thing that is not so.
    """
    if ends_at <= starts_at:
        sentence = f"Cannot plan a closure of {machine}: its end is not after its start, must be after it."
        yield stop("closure-ends-early", machine, sentence, "Look at both times.")
    elif ends_at <= now:
        sentence = f"Cannot plan a closure of {machine}: it is over already, must end later than now."
        yield stop("closure-over", machine, sentence, "Look at both times.")
