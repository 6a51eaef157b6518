"""Records that come by themselves: taken in, matched to a load or set aside; and how a machine's log is read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils import timezone

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, unknown
from reprocessing.actions.evidence import attach
from reprocessing.columns import Columns
from reprocessing.device_message import is_message, read_message
from reprocessing.folder import LONGEST_NAME
from reprocessing.models import (
    Arrival,
    ArrivalState,
    DeviceReport,
    Load,
    Machine,
    MachineColumns,
    MachineLine,
    Trace,
)
from reprocessing.reads.devices import fault_of, machine_of_device
from reprocessing.states import LOAD_STEPS, MACHINE_STEPS
from reprocessing.writer import lock_load, lock_machine


def take_in(file_name: str, content: str, machine: str, *, at: datetime | None = None) -> bool:
    """Keep a record that came by itself until somebody says whose it is; one that is known already counts once.

    A machine's own message counts once by its number, too. One that cannot be read, or is of no machine that is
    known here, is kept all the same; the page of records says what is wrong with it.

    Args:
        file_name: its name.
        content: its text as received.
        machine: code of the machine that wrote it; empty, or of no machine, when that is not known.
        at: when it came; now if not given.

    Returns:
        Whether it is new.
    """
    sha256 = hashlib.sha256(content.encode()).hexdigest()
    if any(table.objects.filter(sha256=sha256).exists() for table in (Trace, DeviceReport)):
        return False
    fields: dict[str, Any] = {"machine": Machine.objects.filter(code=machine).first()}
    if is_message(content):
        fields |= _of_message(content, fields["machine"])
        if _is_known(content, fields):
            return False
    fields |= {"file_name": file_name, "content": content, "came_at": at or timezone.now()}
    return bool(Arrival.objects.get_or_create(sha256=sha256, defaults=fields)[1])


def _of_message(content: str, machine: Machine | None) -> dict[str, Any]:
    """Machine and numbers of a message; empty as far as it cannot be read."""
    try:
        message = read_message(content)
    except ValueError:
        return {}
    named = {"device": message.device, "control_id": message.control_id}
    return {**named, "machine": machine or machine_of_device(message.device)}


def _is_known(content: str, fields: dict[str, Any]) -> bool:
    """Whether a message of this number has come already and says the same."""
    numbers = {name: fields.get(name, "") for name in ("device", "control_id")}
    if not numbers["control_id"]:
        return False
    said = read_message(content).as_dict()
    waiting = Arrival.objects.filter(**numbers)
    attached = DeviceReport.objects.filter(**numbers)
    return any(read_message(row.content).as_dict() == said for row in (*waiting, *attached))


def note_refused(file_name: str, sha256: str, fault: str, machine: str, *, at: datetime | None = None) -> None:
    """Show a file that is no text to keep here: what it is, what it must be, and where it lies.

    Args:
        file_name: its name; of a long one the end is kept.
        sha256: of its bytes.
        fault: what was found and expected, and where the file lies.
        machine: code of the machine that wrote it, as far as known.
        at: when it came; now if not given.
    """
    fields = {
        "file_name": file_name[-LONGEST_NAME:],
        "fault": fault,
        "machine": Machine.objects.filter(code=machine).first(),
        "came_at": at or timezone.now(),
    }
    Arrival.objects.get_or_create(sha256=sha256, defaults=fields)


@action
def match_record(record: int, load: str, *, act: Act) -> Done:
    """Attach a record that came by itself to the load that it belongs to; it is judged then."""
    arrival = lock_waiting(record, "match")
    row = lock_load(load)
    facts = (*_faulty(arrival), *_other_machine(arrival, row))
    if facts:
        raise Refused(*facts)
    done = attach(row, arrival.file_name, arrival.content, act)
    decide(arrival, ArrivalState.MATCHED, act, load=row)
    return done


def _faulty(arrival: Arrival) -> Iterator[Finding]:
    fault = fault_of(arrival)
    if fault:
        yield stop("record-faulty", str(arrival), fault, "Put it right at the machine, or set the record aside.")


def _other_machine(arrival: Arrival, load: Load) -> Iterator[Finding]:
    if arrival.machine is not None and arrival.machine_id != load.machine_id:
        yield stop(
            "record-of-other-machine",
            load.code,
            f"Cannot match {arrival} to {load.code}: it is a record of {arrival.machine}, must be of {load.machine}.",
            "Choose a load of that machine.",
        )


@action
def set_record_aside(record: int, *, reason: str, act: Act) -> Done:
    """Say why a record belongs to no load; it is kept."""
    arrival = lock_waiting(record, "set aside")
    step = LOAD_STEPS["attach_trace"]
    need(step.right, "set aside", str(arrival), act)
    reason = reason_given(reason, "set aside", str(arrival))
    decide(arrival, ArrivalState.SET_ASIDE, act, reason=reason)
    if arrival.machine is not None:
        evidence = {"record": arrival.file_name, "sha256": arrival.sha256}
        write_line(MachineLine, arrival.machine, "set_record_aside", act, reason=reason, evidence=evidence)
    sentence = f"{arrival} is set aside and kept."
    return Done("set_record_aside", "record", arrival.pk, str(arrival), ArrivalState.SET_ASIDE, sentence)


def lock_waiting(record: int, verb: str) -> Arrival:
    """A record that waits, locked.

    Raises:
        Refused: there is none of this number, or it does not wait any more.
    """
    arrival: Arrival | None = Arrival.objects.select_for_update().filter(pk=record).first()
    if arrival is None:
        raise Refused(unknown("record", str(record)))
    if arrival.state != ArrivalState.WAITING:
        where = f" to {arrival.load}" if arrival.load else ""
        sentence = f"Cannot {verb} {arrival}: it is {arrival.state}{where}, must be {ArrivalState.WAITING}."
        raise Refused(stop("record-decided", str(arrival), sentence, "Look at the list of records again."))
    return arrival


def decide(arrival: Arrival, state: ArrivalState, act: Act, *, load: Load | None = None, reason: str = "") -> None:
    """Write down what became of a locked record, and by whom."""
    arrival.state, arrival.load, arrival.reason = state, load, reason
    arrival.decided_at, arrival.decided_by = act.at, act.by
    arrival.save(update_fields=["state", "load", "reason", "decided_at", "decided_by"])


@action
def set_columns(
    machine: str, columns: tuple[str, ...], *, header_line: int = 1, ambient_mbar: float | None = None, act: Act
) -> Done:
    """Say what the columns of a machine's log hold, each as “name=quantity”; records are read so from now on."""
    row = lock_machine(machine)
    step = MACHINE_STEPS["set_columns"]
    need(step.right, step.says, row.name, act)
    held = {name: quantity for name, _, quantity in (column.rpartition("=") for column in columns)}
    try:
        Columns(held, header_line, ambient_mbar)
    except ValueError as refusal:
        raise Refused(
            stop("columns-unclear", row.code, str(refusal), "Look at the machine's own manual.")
        ) from refusal
    fields = {"held": held, "header_line": header_line, "ambient_mbar": ambient_mbar}
    MachineColumns.objects.update_or_create(machine=row, defaults={**fields, "set_at": act.at, "set_by": act.by})
    write_line(MachineLine, row, "set_columns", act, evidence=fields)
    return Done.of("set_columns", row, f"The records of {row.name} are read by their columns as stated.")


@action
def set_device_number(machine: str, number: str, *, act: Act) -> Done:
    """Say by which number a machine names itself in its messages; empty when it sends none."""
    list(Machine.objects.select_for_update().order_by("pk"))  # a number is of one among all of them
    row = lock_machine(machine)
    step = MACHINE_STEPS["set_device_number"]
    need(step.right, step.says, row.name, act)
    number = number.strip()
    other = machine_of_device(number) if number else None
    if other is not None and other.pk != row.pk:
        sentence = f"Cannot give {row.name} the device number {number}: it is that of {other.name}, must be its own."
        raise Refused(stop("device-number-taken", row.code, sentence, "Read it off the machine."))
    row.device_number = number
    row.save(update_fields=["device_number"])
    write_line(MachineLine, row, "set_device_number", act, evidence={"device_number": number})
    return Done.of(
        "set_device_number", row, f"{row.name} names itself {number or 'by its code only'} in its messages."
    )
