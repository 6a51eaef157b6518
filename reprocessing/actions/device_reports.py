"""A machine's own message of a cycle, kept as evidence of a load. It can forbid a release and never grants one."""

from __future__ import annotations

import hashlib
from typing import Any

from journal.actions import Act, Done, write_line
from journal.findings import Refused, stop
from reprocessing.device_message import DeviceMessage, read_message
from reprocessing.models import DeviceReport, Load, LoadLine
from reprocessing.reads.devices import against_message, differences_of, message_checks, report_of, reused
from reprocessing.rules import wrong_state
from reprocessing.states import LOAD_STEPS

REMEDY = "Send it again from the machine, or choose the message of this cycle."


def attach_message(load: Load, file_name: str, content: str, act: Act) -> Done:
    """Attach a message to a locked load; the person's right was asked.

    The same file again, or a message of the same number that says the same, changes nothing.

    Raises:
        Refused: it cannot be read, is of another machine or load, or the load takes no record any more.
    """
    message = _read(load, file_name, content)
    report, is_new = _keep(load, file_name, content, message, act)
    if not is_new:
        return _once_more(load, report, message)
    evidence = {"sha256": report.sha256, "file_name": file_name, "control_id": message.control_id}
    write_line(LoadLine, load, "attach_message", act, evidence=evidence)
    value = message_checks(load)[0].row.value
    sentence = f"The machine’s message is kept with {load.code}: {value[0].lower()}{value[1:]}."
    return Done.of("attach_trace", load, sentence, "It informs; a person decides.", differences_of(load))


def _keep(load: Load, file_name: str, content: str, message: DeviceMessage, act: Act) -> tuple[DeviceReport, bool]:
    """The message of this number, and whether it is new: kept for this load.

    Raises:
        Refused: it is new, and the load takes no record any more.
    """
    known = report_of(message)
    if known is not None:
        return known, False
    step = LOAD_STEPS["attach_trace"]
    facts = tuple(wrong_state(step.says, load.code, load.state, *step.states))
    if facts:
        raise Refused(*facts)
    fields: dict[str, Any] = {
        "load": load,
        "file_name": file_name,
        "sha256": hashlib.sha256(content.encode()).hexdigest(),
        "content": content,
        "said": message.as_dict(),
        "received_at": act.at,
        "received_by": act.by,
    }
    numbers = {"device": message.device, "control_id": message.control_id}
    return DeviceReport.objects.get_or_create(**numbers, defaults=fields)


def _read(load: Load, file_name: str, content: str) -> DeviceMessage:
    try:
        message = read_message(content)
    except ValueError as refusal:
        raise Refused(stop("message-unreadable", file_name or load.code, str(refusal), REMEDY)) from refusal
    fault = against_message(message, load.machine)
    if fault:
        raise Refused(stop("message-of-other-machine", load.code, fault, REMEDY))
    return message


def _once_more(load: Load, known: DeviceReport, message: DeviceMessage) -> Done:
    if known.as_message() != message:
        raise Refused(stop("message-number-reused", load.code, reused(known), REMEDY))
    if known.load_id != load.pk:
        sentence = f"Cannot attach this message to {load.code}: it is the message of {known.load.code}."
        raise Refused(stop("message-of-other-load", load.code, sentence, REMEDY))
    sentence = f"Message {known.control_id} is attached to {load.code} already; nothing was changed."
    return Done.of("attach_trace", load, sentence)
