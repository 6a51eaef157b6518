"""Periodic tests: asked for, ended, and their results recorded."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils import timezone

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, look, stop, unknown
from journal.roles import Right
from reprocessing.models import Machine, MachineLine, PeriodicResult, PeriodicTest
from reprocessing.periodic import About, Within, judged
from reprocessing.rules import MOMENT
from reprocessing.states import MACHINE_STEPS, MachineKind
from reprocessing.writer import line_on_each, lock_machine

YEARS = 3660
"""Longest period [d]."""


@action
def ask_periodic_test(  # noqa: PLR0913 - a row of the unit states so many things
    kind: str,
    name: str,
    *,
    every_days: int,
    source: str,
    about: str = About.MACHINE,
    machine: str = "",
    forbids_start: bool = False,
    unit: str = "",
    least: float | None = None,
    most: float | None = None,
    act: Act,
) -> Done:
    """Ask for a periodic test of each machine of a kind, or of one machine; measured where it has a unit and limits.

    Whatever a unit enters here it confirms locally. A required one (`forbids_start`) keeps routine loads off
    until its first result.
    """
    need(Right.MASTER, "ask for", f"the periodic test {name}", act)
    limits: dict[str, Any] = {"unit": unit.strip(), "least": least, "most": most}
    name = name.strip()
    facts = [
        *_word("kind of machine", kind, MachineKind, name),
        *_word("subject", about, About, name),
        *_asked(name, every_days, source),
        *_limits(name, **limits),
    ]
    only = _only(machine, kind)
    if facts:
        raise Refused(*facts)
    row = PeriodicTest.objects.create(
        kind=kind,
        machine=only,
        about=about,
        name=name,
        every_days=every_days,
        forbids_start=forbids_start,
        **limits,
        source=source.strip(),
    )
    evidence = {"periodic_test": row.pk, "name": name, "every_days": every_days, "forbids_start": forbids_start}
    line_on_each(_asked_of(row), "ask_periodic_test", act, evidence=evidence)
    sentence = f"The periodic test “{name}” is asked for every {every_days} days."
    return Done("ask_periodic_test", "periodic test", row.pk, name, "", sentence, "Record its first result.")


def _only(machine: str, kind: str) -> Machine | None:
    """The one machine that a test is asked of; None for each of its kind.

    Raises:
        Refused: no machine has this code, or it is of another kind.
    """
    if not machine:
        return None
    row = lock_machine(machine)
    if row.kind != kind:
        sentence = f"Cannot ask {row.name} for a test of a {kind}: it is a {row.kind}, must be one."
        raise Refused(stop("machine-of-another-kind", row.code, sentence, "Choose its own kind."))
    return row


def _word(what: str, word: str, words: type[MachineKind] | type[About], name: str) -> Iterator[Finding]:
    if word not in list(words):
        sentence = f"Cannot ask for {name}: its {what} is {word}, must be one of {', '.join(words)}."
        yield stop("word-unknown", name, sentence, "Choose one of them.")


def _asked(name: str, every_days: int, source: str) -> Iterator[Finding]:
    if not name or not source.strip():
        sentence = "Cannot ask for a periodic test: its name or source is not stated, both must be."
        yield stop("test-not-named", name or "test", sentence, "Say what is tested, and where that is asked for.")
    if not 1 <= every_days <= YEARS:
        sentence = f"Cannot ask for {name}: its period is {every_days} days, must be from 1 to {YEARS}."
        yield stop("period-out-of-range", name, sentence, "Give another period.")


def _limits(name: str, unit: str, least: float | None, most: float | None) -> Iterator[Finding]:
    if not unit and least is None and most is None:
        return
    try:
        Within(unit, least, most)
    except ValueError as wrong:
        said = f"unit “{unit}”, least {least}, greatest {most}"
        sentence = f"Cannot ask for {name}: its limits are {said}, must be consistent. {wrong}"
        yield stop("limits-not-consistent", name, sentence, "Give a unit with a limit, or neither.")


def _asked_of(row: PeriodicTest) -> Any:
    """The machines that a test is asked of."""
    only = {"pk": row.machine_id} if row.machine_id else {"kind": row.kind}
    return Machine.objects.filter(**only).order_by("pk")


@action
def end_periodic_test(test: int, *, reason: str, act: Act) -> Done:
    """Ask for a periodic test no longer; its results stay."""
    need(Right.MASTER, "end", f"periodic test {test}", act)
    row = PeriodicTest.objects.in_force().select_for_update().filter(pk=test).first()
    if row is None:
        raise Refused(unknown("periodic test in force", str(test)))
    reason = reason_given(reason, "end", f"the periodic test {row.name}")
    row.ended_at, row.ended_by = act.at, act.by
    row.save(update_fields=["ended_at", "ended_by"])
    evidence = {"periodic_test": row.pk, "name": row.name}
    line_on_each(_asked_of(row), "end_periodic_test", act, evidence=evidence, reason=reason)
    return Done("end_periodic_test", "periodic test", row.pk, row.name, "", f"“{row.name}” is asked for no longer.")


@action
def record_periodic_test(
    machine: str,
    test: int,
    *,
    passed: bool | None = None,
    value: float | None = None,
    less_than: bool = False,
    taken_at: datetime | None = None,
    reported_by: str = "",
    note: str = "",
    act: Act,
) -> Done:
    """Record a result: a measured test by its value, which its limits judge; any other as passed or failed.

    `taken_at`: when it was done or sampled; now when it is not said.
    """
    row = lock_machine(machine)
    step = MACHINE_STEPS["record_periodic_test"]
    need(step.right, step.says, row.name, act)
    asked = PeriodicTest.objects.in_force().of(row).filter(pk=test).first()
    if asked is None:
        raise Refused(unknown(f"periodic test of {row.name}", str(test)))
    at = taken_at or act.at
    result = _result(row, asked, value, passed=passed, less_than=less_than)
    if at > act.at:
        when = f"{timezone.localtime(at):{MOMENT}}"
        sentence = f"Cannot record “{asked}” of {row.name}: it is taken on {when}, must be now or earlier."
        raise Refused(stop("taken-later", row.code, sentence, "Look at the time."))
    made = PeriodicResult.objects.create(
        test=asked,
        machine=row,
        passed=result,
        value=value,
        less_than=less_than,
        taken_at=at,
        reported_by=reported_by.strip(),
        note=note.strip(),
        at=act.at,
        by=act.by,
    )
    evidence = {"periodic_result": made.pk, "name": asked.name, "found": made.words, "passed": result}
    write_line(MachineLine, row, "record_periodic_test", act, reason=note.strip(), evidence=evidence)
    return _done(row, asked, made)


def _result(row: Machine, asked: PeriodicTest, value: float | None, *, passed: bool | None, less_than: bool) -> bool:
    """What a result says.

    Raises:
        Refused: it says nothing, or too much.
    """
    try:
        return judged(asked.within, value, passed=passed, less_than=less_than)
    except ValueError as wrong:
        sentence = f"Cannot record “{asked}” of {row.name}: {wrong}."
        raise Refused(stop("no-result", row.code, sentence, "Look at the report again.")) from wrong


def _done(row: Machine, asked: PeriodicTest, made: PeriodicResult) -> Done:
    verb = "record_periodic_test"
    if made.passed:
        return Done.of(verb, row, f"“{asked}” of {row.name}: {made.words}, passed.")
    limit = f", must be {asked.within.words}" if asked.within else ", must have passed"
    remedy = "No routine load starts until it has passed." if asked.forbids_start else "Decide what follows from it."
    found = look(
        "periodic-test-failed",
        row.code,
        f"“{asked}” of {row.name}: {made.words}{limit}.",
        f"{remedy} Raise a non-conformity on it.",
    )
    return Done.of(verb, row, f"“{asked}” of {row.name} is recorded as failed.", findings=(found,))
