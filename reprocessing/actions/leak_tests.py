"""The air leakage test of a machine, judged by its record and signed by a person."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from journal.actions import Act, Done, action, need, write_line
from journal.findings import Refused, Severity, stop, unknown
from journal.roles import Right
from reprocessing.actions.intake import decide, lock_waiting, take_in
from reprocessing.actions.machines import keep_test, may_test
from reprocessing.models import Arrival, ArrivalState, MachineLine
from reprocessing.reads.leak_tests import leak_judgement
from reprocessing.states import TestKind
from reprocessing.writer import lock_machine

SHOWS_NONE = ("leak-not-recorded", "leak-not-covered")
"""What is found in a record that shows no leakage test."""


@action
def leave_record(machine: str, file_name: str, content: str, *, act: Act) -> Done:
    """A person leaves a file of a machine among the records that wait, as the machine itself would."""
    row = lock_machine(machine)
    need(Right.TEST, "leave a record of", row.name, act)
    if take_in(file_name, content, row.code, at=act.at):
        write_line(MachineLine, row, "leave_record", act, evidence={"record": file_name})
    arrival = Arrival.objects.filter(sha256=hashlib.sha256(content.encode()).hexdigest()).first()
    if arrival is None or arrival.state != ArrivalState.WAITING or arrival.machine_id != row.pk:
        sentence = f"Cannot take {file_name}: it is known already, must be a new record of {row.name}."
        raise Refused(stop("record-known", row.code, sentence, "Look at the list of records."))
    sentence = f"{arrival} of {row.name} waits among the records."
    return Done("leave_record", "record", arrival.pk, str(arrival), arrival.state, sentence)


@action
def record_leak_test(record: int, *, hold_from_s: float | None = None, note: str = "", act: Act) -> Done:
    """Record an air leakage test by its pressure: passed within its limits, failed beyond; a person signs it.

    A record that does not cover the whole test shows nothing, and is refused.
    """
    asked = Arrival.objects.filter(pk=record).select_related("machine").first()
    if asked is None:
        raise Refused(unknown("record", str(record)))
    if asked.machine is None:
        sentence = f"Cannot take {asked} as a leak test: its machine is not known, must be."
        raise Refused(stop("record-of-no-machine", str(asked), sentence, "Leave it anew on the machine’s page."))
    row = lock_machine(asked.machine.code)
    may_test(row, TestKind.AIR_LEAKAGE, act)
    arrival = lock_waiting(record, "take as a leak test")
    try:
        judgement = leak_judgement(arrival, hold_from_s=hold_from_s)
    except ValueError as refusal:
        remedy = "Say how the records of this machine are read, or set it aside."
        raise Refused(stop("trace-unreadable", str(arrival), str(refusal), remedy)) from refusal
    if any(judged.met is None for judged in judgement.rows):
        raise Refused(*(replace(row, severity=Severity.STOP) for row in judgement.findings if row.slug in SHOWS_NONE))
    passed = judgement.within_limits
    done = keep_test(
        row, TestKind.AIR_LEAKAGE, act, passed=passed, note=note, record=arrival, judgement=judgement.as_dict()
    )
    decide(arrival, ArrivalState.TESTED, act)
    return replace(done, verb="record_leak_test", sentence=f"{done.sentence} Air leakage {judgement.rows[0].value}.")
