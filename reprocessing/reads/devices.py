"""Questions to machines' own messages."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Q
from django.utils import timezone

from journal.findings import Finding
from reprocessing.checklist import Check
from reprocessing.device_evidence import agreement_check, differences, message_check
from reprocessing.device_message import DeviceMessage, is_message, read_message
from reprocessing.models import Arrival, DeviceReport, Load, Machine


def machine_of_device(number: str) -> Machine | None:
    """The machine that names itself so in its messages: by its own number, or by its code."""
    found: Machine | None = Machine.objects.filter(Q(device_number=number) | Q(code=number)).first()
    return found


def against_message(message: DeviceMessage, machine: Machine | None) -> str:
    """Why a message cannot be one of this machine, or of any; empty when it can.

    Args:
        message: what was sent.
        machine: whose it must be; None when any will do.
    """
    speaks = machine_of_device(message.device)
    if speaks is None:
        found = f"Cannot take the message: SDD-2 is “{message.device}”"
        return f"{found}, must be the device number or code of a machine here."
    if machine is not None and speaks.pk != machine.pk:
        return f"Cannot take the message: it is of {speaks}, must be of {machine}."
    return ""


def fault_of(arrival: Arrival) -> str:
    """What is wrong with a record that waits: what was found, and what it must be; empty when nothing is."""
    if arrival.fault or not is_message(arrival.content):
        return arrival.fault
    try:
        message = read_message(arrival.content)
    except ValueError as refusal:
        return str(refusal)
    known = report_of(message)
    if known is not None and known.sha256 != arrival.sha256:
        return reused(known)
    return against_message(message, arrival.machine)


def report_of(message: DeviceMessage) -> DeviceReport | None:
    """The message of the same machine and number that is attached already."""
    numbers = {"device": message.device, "control_id": message.control_id}
    found: DeviceReport | None = DeviceReport.objects.filter(**numbers).select_related("load").first()
    return found


def reused(known: DeviceReport) -> str:
    """The sentence for a message whose number another one has."""
    return (
        f"Cannot take the message: its number {known.control_id} is that of another message of {known.device}, "
        f"attached to {known.load}; it must be its own."
    )


def began(message: DeviceMessage) -> datetime | None:
    """When the cycle of a message started; a machine's clock without a zone is taken for the unit's."""
    started = message.started
    return started if started is None or started.tzinfo else timezone.make_aware(started)


def differences_of(load: Load) -> tuple[Finding, ...]:
    """Where the latest message and the latest trace of a load differ."""
    report = load.device_reports.first()
    if report is None:
        return ()
    trace = load.traces.defer("content").first()
    numbers = trace.judgement["numbers"] if trace else {}
    return differences(load.code, report.as_message(), numbers, cycle_number=load.cycle_number)


def message_checks(load: Load) -> tuple[Check, ...]:
    """What the messages of a load are worth as evidence; nothing when there is none."""
    reports = list(load.device_reports.select_related("received_by"))
    if not reports:
        return ()
    said = [message_check(row.as_message(), seen=(str(row.received_by), row.received_at)) for row in reports]
    return (*said, agreement_check(differences_of(load)))
