"""What forbids a verb on a load: day tests, validated programmes, what a load may hold, the second person."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from journal.findings import Finding, stop
from journal.moves import right_missing
from journal.roles import Right
from reprocessing.states import Step, TestKind

MOMENT = "%a %d-%b-%Y %H:%M"


def wrong_state(verb: str, subject: str, state: str, *wanted: str) -> Iterator[Finding]:
    """A verb that leaves the state as it is, but may happen in some states only.

    Args:
        verb: as it stands in a sentence ("add to").
        subject: the thing, as a person would name it.
        state: its state now.
        wanted: states in which the verb may happen.

    Yields:
        One stop when the state is none of those wanted.
    """
    if state not in wanted:
        yield stop(
            "wrong-state",
            subject,
            f"Cannot {verb} {subject}: it is {state}, must be {' or '.join(wanted)}.",
            "Nothing was changed.",
        )


def against_step(step: Step, *, subject: str, state: str, rights: Collection[Right]) -> Iterator[Finding]:
    """What stands against a verb that leaves the state as it is: the person's rights, and the state.

    Args:
        step: the row asked for.
        subject: the load, as a person would name it.
        state: its state now.
        rights: what the acting person holds.

    Yields:
        A stop for each.
    """
    if step.right not in rights:
        yield right_missing(step.right, step.says, subject)
    yield from wrong_state(step.says, subject, state, *step.states)


# Never 3: the second person.


def second_person(
    subject: str, *, wanted: bool, builders: Collection[int], releaser: int, name: str, alone: str
) -> Iterator[Finding]:
    """Nobody releases a load that they built alone, where the unit wants a second person.

    Args:
        subject: the load.
        wanted: the unit's policy for this kind of machine.
        builders: keys of those who added to it, started it or unloaded it.
        releaser: key of who signs.
        name: the same person's name.
        alone: why nobody else was there; reviewed the next day.

    Yields:
        One stop when the only builder signs and the exception is not stated.
    """
    if wanted and built_alone(builders, releaser) and not alone.strip():
        yield stop(
            "built-alone",
            subject,
            f"Cannot release {subject}: {name} built it alone, it must be released by somebody else.",
            "Have another releasing person sign, or state the single-staffing exception.",
        )


def not_called_back(subject: str, recalls: Iterable[str]) -> Iterator[Finding]:
    """A load that a recall names is not let out.

    Args:
        subject: the load.
        recalls: codes of the recalls in force that name it.

    Yields:
        A stop for each.
    """
    for code in recalls:
        yield stop(
            "called-back",
            subject,
            f"Cannot release {subject}: recall {code} calls it back, no recall may.",
            "Reject it.",
        )


def built_alone(builders: Collection[int], person: int) -> bool:
    """Whether this person is the only one who built it."""
    return set(builders) == {person}


# Never 5: machines and their tests.


@dataclass(frozen=True, slots=True)
class Tested:
    """A periodic test as it was recorded.

    Args:
        kind: which test.
        passed: its result.
        at: when it was done, in the unit's time zone.

    Raises:
        ValueError: the time has no zone.
    """

    kind: TestKind
    passed: bool
    at: datetime

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("A test needs a time with a zone.")


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a machine stands with one kind of test.

    Args:
        kind: which test.
        last: the latest one; None when there was none.
        valid_until: when the latest one stops to count, if it passed.
        valid: whether the machine may run by it now.
    """

    kind: TestKind
    last: Tested | None
    valid_until: datetime | None
    valid: bool

    @property
    def words(self) -> str:
        """How it stands, as it follows “the test …”."""
        if self.last is None:
            return "is not recorded"
        if not self.last.passed:
            return f"failed on {self.last.at:{MOMENT}}"
        return f"{'is' if self.valid else 'was'} valid until {self.valid_until:{MOMENT}}"


def machine_day_start(at: datetime, hour: int) -> datetime:
    """When the machine day of this moment began.

    Args:
        at: the moment, in the unit's time zone.
        hour: hour of the clock at which a machine day begins [h], 0 to 23.

    Returns:
        The latest such hour not after the moment, by the clock on the wall.

    Raises:
        ValueError: there is no such hour.
    """
    start = at.replace(hour=hour, minute=0, second=0, microsecond=0)
    return start if start <= at else start - timedelta(days=1)


def standings(
    tests: Iterable[Tested], *, wanted: Mapping[TestKind, int], at: datetime, day_hour: int
) -> tuple[Standing, ...]:
    """How a machine stands with each test that it must pass.

    A test counts from the start of the machine day on which it was done; a later failure of the same kind
    undoes it. Tests after the moment are ignored.

    Args:
        tests: what was recorded, in any order.
        wanted: validity of each kind of test that the machine needs [h].
        at: the moment, in the unit's time zone.
        day_hour: hour at which a machine day begins [h].

    Returns:
        One standing for each kind wanted, in that order.
    """
    last: dict[TestKind, Tested] = {}
    for test in sorted((test for test in tests if test.at <= at), key=lambda test: test.at):
        last[test.kind] = test
    return tuple(_standing(kind, last.get(kind), hours, at, day_hour) for kind, hours in wanted.items())


def _standing(kind: TestKind, last: Tested | None, hours: int, at: datetime, day_hour: int) -> Standing:
    if last is None or not last.passed:
        return Standing(kind, last, None, valid=False)
    until = machine_day_start(last.at, day_hour) + timedelta(hours=hours)
    return Standing(kind, last, until, valid=at < until)


def machine_ready(
    subject: str, machine: str, *, in_service: bool, running: str | None, tests: Iterable[Standing]
) -> Iterator[Finding]:
    """A routine load starts only on a machine in service with its tests passed.

    Args:
        subject: the load.
        machine: the machine, as a person would name it.
        in_service: its state.
        running: code of the load that it runs now; None when it stands still.
        tests: its standings.

    Yields:
        A stop for each thing that stands against the start.
    """
    if not in_service:
        yield stop(
            "machine-out-of-service",
            subject,
            f"Cannot start {subject}: {machine} is out of service, must be in service.",
            "Use another machine.",
        )
    yield from machine_free(subject, machine, running=running)
    for standing in tests:
        if not standing.valid:
            yield stop(
                "test-due",
                subject,
                f"Cannot start {subject}: the {standing.kind} test of {machine} {standing.words}, "
                "must be passed and valid for the current machine day.",
                "Run the test and record its result.",
            )


def failed_last(subject: str, machine: str, tests: Iterable[Standing]) -> Iterator[Finding]:
    """A machine returns to service only when whatever test failed has passed since.

    Args:
        subject: code of the machine.
        machine: the machine, as a person would name it.
        tests: its standings.

    Yields:
        A stop for each test that failed last.
    """
    for standing in tests:
        if standing.last is not None and not standing.last.passed:
            yield stop(
                "test-failed",
                subject,
                f"Cannot return {machine} to service: its {standing.kind} test {standing.words}, "
                "must have passed since.",
                "Run the test again and record its result.",
            )


def machine_free(subject: str, machine: str, *, running: str | None) -> Iterator[Finding]:
    """A machine runs one load at a time."""
    if running is not None:
        yield stop(
            "machine-running",
            subject,
            f"Cannot start {subject}: {machine} runs {running}, must stand still.",
            f"Unload {running} first.",
        )


# Never 6: validated programmes.


def validated(verb: str, subject: str, programme: str, unfit: Iterable[str]) -> Iterator[Finding]:
    """No part goes into a programme that is not validated for it.

    Args:
        verb: as it stands in a sentence.
        subject: what holds the parts: a piece, a pack or a load.
        programme: its name.
        unfit: names of the parts that it is not validated for.

    Yields:
        One stop for each such part.
    """
    for part in unfit:
        yield stop(
            "programme-not-validated",
            subject,
            f"Cannot {verb} {subject}: {programme} is not validated for {part}, must be validated for every part.",
            "Choose a programme that is, see the maker's instructions.",
        )


# What a load may hold.


def pack_suits_load(
    subject: str, *, washes: bool, routine: bool, immediate_pack: bool, immediate_programme: bool, holds_implant: bool
) -> Iterator[Finding]:
    """A pack goes into a routine load of a steriliser; immediate-use items into immediate-use programmes only.

    Args:
        subject: the pack.
        washes: the load's machine is a washer.
        routine: the load is neither test nor requalification.
        immediate_pack: the pack is an immediate-use item.
        immediate_programme: the load's programme is one for immediate use.
        holds_implant: the pack holds an implant.

    Yields:
        A stop for each thing that stands against it.
    """
    if washes:
        yield stop(
            "washer-takes-pieces",
            subject,
            f"Cannot load {subject}: the machine is a washer-disinfector, must be a steriliser.",
            "Washers take pieces, not packs.",
        )
    yield from holds_nothing(subject, routine=routine)
    if immediate_pack != immediate_programme:
        found, wanted = ("for immediate use", "not") if immediate_pack else ("wrapped for storage", "for it")
        yield stop(
            "immediate-use-apart",
            subject,
            f"Cannot load {subject}: it is {found} and the programme is {wanted}, must be of one kind.",
            "Choose a load of the other kind.",
        )
    if immediate_programme and holds_implant:
        yield stop(
            "immediate-use-implant",
            subject,
            f"Cannot load {subject}: it holds an implant, must hold none in an immediate-use programme.",
            "Wrap it and wait for its biological result.",
        )


def holds_something(subject: str, *, held: int) -> Iterator[Finding]:
    """A routine load is not started empty.

    Args:
        subject: the load.
        held: how many packs, or sets, are in it.
    """
    if not held:
        yield stop(
            "load-empty",
            subject,
            f"Cannot start {subject}: it is empty, must hold something.",
            "Scan what goes in.",
        )


def holds_nothing(subject: str, *, routine: bool) -> Iterator[Finding]:
    """Test and requalification loads hold nothing that is meant for a patient."""
    if not routine:
        yield stop(
            "test-load-holds-nothing",
            subject,
            f"Cannot load {subject}: the load is no routine load, must be one.",
            "Open a routine load for it.",
        )


def has_room(subject: str, load: str, *, held: int, capacity: int) -> Iterator[Finding]:
    """A load holds no more than its machine has room for.

    Args:
        subject: what is to go in.
        load: the load.
        held: packs, or sets, in it now.
        capacity: how many the machine takes.

    Yields:
        One stop when it is full.
    """
    if held >= capacity:
        yield stop(
            "load-full",
            subject,
            f"Cannot load {subject}: {load} holds {held}, must hold fewer than {capacity}.",
            "Start it and open the next load.",
            held=held,
            capacity=capacity,
        )
