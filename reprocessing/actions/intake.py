"""Records that come by themselves: taken in, matched to a load or set aside; and how a machine's log is read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import datetime

from django.utils import timezone

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, unknown
from reprocessing.actions.evidence import attach
from reprocessing.columns import Columns
from reprocessing.models import Arrival, ArrivalState, Load, Machine, MachineColumns, MachineLine, Trace
from reprocessing.states import LOAD_STEPS, MACHINE_STEPS
from reprocessing.writer import lock_load, lock_machine


def take_in(file_name: str, content: str, machine: str, *, at: datetime | None = None) -> bool:
    """Keep a record that came by itself until somebody says whose it is; one that is known already counts once.

    Args:
        file_name: its name.
        content: its text as received.
        machine: code of the machine that wrote it; empty, or of no machine, when that is not known.
        at: when it came; now if not given.

    Returns:
        Whether it is new.
    """
    sha256 = hashlib.sha256(content.encode()).hexdigest()
    if Trace.objects.filter(sha256=sha256).exists():
        return False
    fields = {
        "file_name": file_name,
        "content": content,
        "machine": Machine.objects.filter(code=machine).first(),
        "came_at": at or timezone.now(),
    }
    return bool(Arrival.objects.get_or_create(sha256=sha256, defaults=fields)[1])


@action
def match_record(record: int, load: str, *, act: Act) -> Done:
    """Attach a record that came by itself to the load that it belongs to; it is judged then."""
    arrival = _lock_waiting(record, "match")
    row = lock_load(load)
    facts = tuple(_other_machine(arrival, row))
    if facts:
        raise Refused(*facts)
    done = attach(row, arrival.file_name, arrival.content, act)
    _decide(arrival, ArrivalState.MATCHED, act, load=row)
    return done


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
    arrival = _lock_waiting(record, "set aside")
    step = LOAD_STEPS["attach_trace"]
    need(step.right, "set aside", str(arrival), act)
    _decide(arrival, ArrivalState.SET_ASIDE, act, reason=reason_given(reason, "set aside", str(arrival)))
    sentence = f"{arrival} is set aside and kept."
    return Done("set_record_aside", "record", arrival.pk, str(arrival), ArrivalState.SET_ASIDE, sentence)


def _lock_waiting(record: int, verb: str) -> Arrival:
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


def _decide(arrival: Arrival, state: ArrivalState, act: Act, *, load: Load | None = None, reason: str = "") -> None:
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
