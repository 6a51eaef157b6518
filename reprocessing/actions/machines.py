"""Machines: their tests, into and out of service."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity, stop
from reprocessing.models import Doubt, Load, Machine, MachineLine, MachineTest
from reprocessing.reads import against_return
from reprocessing.reads.upkeep import proof_of_machine
from reprocessing.states import (
    DAY_TESTS,
    ENDS_SERVICE,
    MACHINE_STEPS,
    LoadKind,
    LoadState,
    MachineKind,
    MachineState,
    Result,
    TestKind,
)
from reprocessing.writer import lock_machine, move_machine


@action
def record_test(machine: str, kind: str, *, passed: bool, note: str = "", act: Act) -> Done:
    """Record a periodic test; a failed penetration or leak test ends the service and puts loads in doubt."""
    row = lock_machine(machine)
    may_test(row, TestKind(kind), act)
    return keep_test(row, TestKind(kind), act, passed=passed, note=note)


def may_test(row: Machine, wanted: TestKind, act: Act) -> None:
    """Whether this person may record this test of a machine.

    Raises:
        Refused: the right is missing, or its kind of machine has no such test.
    """
    step = MACHINE_STEPS["record_test"]
    need(step.right, step.says, row.name, act)
    if wanted not in DAY_TESTS[MachineKind(row.kind)]:
        raise Refused(
            stop(
                "no-such-test",
                row.code,
                f"Cannot record a {wanted} test of {row.name}: a {row.kind} has no such test.",
                "Choose one of its own tests.",
            )
        )


def keep_test(row: Machine, wanted: TestKind, act: Act, *, passed: bool, note: str, **record: Any) -> Done:
    """Keep a test of a locked machine, and what follows from a failed one.

    Args:
        row: the machine.
        wanted: which test.
        act: who, when, where.
        passed: its result.
        note: what was remarked.
        record: of a test with a record, that record and its judgement.
    """
    result = Result.PASSED if passed else Result.FAILED
    doubtful = [] if passed or wanted not in ENDS_SERVICE else _since_last_passed(row, wanted, act)
    test = MachineTest.objects.create(
        machine=row, kind=wanted, result=result, note=note, at=act.at, by=act.by, **record
    )
    evidence = {"test": test.pk, "kind": wanted, "result": result, "in_doubt": [load.code for load in doubtful]}
    write_line(MachineLine, row, "record_test", act, reason=note, evidence=evidence)
    if passed:
        return Done.of("record_test", row, f"The {wanted} test of {row.name} has passed.")
    if wanted not in ENDS_SERVICE:
        return Done.of("record_test", row, f"The {wanted} test of {row.name} has failed.", "Run it again.")
    if row.state == MachineState.IN_SERVICE:
        move_machine(row, "take_out_of_service", act, reason=f"{wanted} test failed", follows=True)
    Doubt.objects.bulk_create(Doubt(load=load, test=test) for load in doubtful)
    sentence = f"The {wanted} test of {row.name} has failed: it is out of service."
    return Done.of("record_test", row, sentence, "Use another machine.", tuple(_in_doubt(doubtful)))


def _since_last_passed(machine: Machine, kind: TestKind, act: Act) -> list[Load]:
    """Routine loads started since the last passed test of a kind; a rejected one went nowhere."""
    loads = Load.objects.filter(machine=machine, kind=LoadKind.ROUTINE, started_at__isnull=False)
    passed = machine.tests.filter(kind=kind, result=Result.PASSED, at__lte=act.at).order_by("-at").first()
    if passed is not None:
        loads = loads.filter(started_at__gte=passed.at)
    return list(loads.exclude(state=LoadState.REJECTED).order_by("pk"))


def _in_doubt(loads: list[Load]) -> Iterator[Finding]:
    for load in loads:
        yield Finding(
            "load-in-doubt",
            Severity.LOOK,
            load.code,
            f"{load.code} ran since the last passed test and is {load.state}.",
            "The quality lead decides on it.",
        )


@action
def take_out_of_service(machine: str, *, reason: str, act: Act) -> Done:
    """Keep routine loads off a machine."""
    row = lock_machine(machine)
    reason = reason_given(reason, "take out of service", row.name)
    move_machine(row, "take_out_of_service", act, reason=reason)
    return Done.of("take_out_of_service", row, f"{row.name} is out of service.", "Use another machine.")


@action
def return_to_service(machine: str, *, reason: str, act: Act) -> Done:
    """Let a machine run routine loads again: whatever failed has passed since, and so have enough test cycles."""
    row = lock_machine(machine)
    reason = reason_given(reason, "return to service", row.name)
    proof = proof_of_machine(row)
    facts = against_return(row, act.at)
    move_machine(row, "return_to_service", act, facts=facts, reason=reason, evidence={"test_cycles": proof.words})
    return Done.of("return_to_service", row, f"{row.name} is in service.", "Run the tests of the machine day.")
