"""What a machine's own message is worth as evidence of a cycle: it can forbid a release, and never grants one.

An aborted cycle, or a phase with an invalid time, temperature or pressure, is a stop, whatever the trace shows.
Everything else a message says informs the person who decides. Where message and trace of one cycle differ, somebody
has to say why before the load is released: one of the two may belong to another cycle.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from journal.findings import Finding, look, stop
from reprocessing.checklist import NOBODY, Check, Seen
from reprocessing.device_message import NOTICES, TEMPERATURES, TIMES, DeviceMessage
from reprocessing.judgement import INFORMATION, EvidenceRow
from reprocessing.judging import NBSP, TEMPERATURE, TIME

ENDS_CYCLE = ("aborted", "alarm")
"""Notices with which a cycle has failed."""

# Message and trace come from different probes and different clocks. Both: common practice, no source.
SAME_HOLD_S = 30.0
SAME_HIGHEST_K = 2.0

MESSAGE, AGREEMENT = "machine-message", "message-agrees"
MOMENT = "%d-%b-%Y %H:%M"


def message_check(message: DeviceMessage, *, seen: Seen = NOBODY) -> Check:
    """What the machine says of how the cycle went.

    Args:
        message: what it sent.
        seen: who attached it, and when.

    Returns:
        A check that decides only where the machine says that the cycle has failed.
    """
    failed = [NOTICES[name][1] for name in ENDS_CYCLE if message.notices.get(name)]
    if failed:
        row = EvidenceRow(MESSAGE, "Machine’s message", "; ".join(failed), "no abort, no invalid phase", met=False)
        return Check(row, *seen)
    said = [NOTICES[name][1] for name, yes in message.notices.items() if yes]
    value = "; ".join(said) or "No abort or invalid phase reported"
    return Check(EvidenceRow(MESSAGE, "Machine’s message", value, INFORMATION, None, decides=False), *seen)


def agreement_check(differences: tuple[Finding, ...]) -> Check:
    """Whether message and trace speak of the same cycle; it informs, and a difference asks for a reason."""
    value = "; ".join(finding.sentence.rstrip(".") for finding in differences) or "No difference found"
    return Check(EvidenceRow(AGREEMENT, "Message against record", value, INFORMATION, None, decides=False))


def differences(
    subject: str, message: DeviceMessage, numbers: Mapping[str, float | None], *, cycle_number: str
) -> tuple[Finding, ...]:
    """Where a message differs from the trace, and from the cycle number that a person recorded.

    Args:
        subject: the load.
        message: what the machine sent.
        numbers: of the judgement of the trace, as `Judgement.numbers` has them; empty without a trace.
        cycle_number: as it was recorded at the start; empty where it was not.

    Returns:
        A finding for each difference. What either does not say is not compared.
    """
    return tuple(_differences(subject, message, numbers, cycle_number))


def _differences(
    subject: str, message: DeviceMessage, numbers: Mapping[str, float | None], cycle_number: str
) -> Iterator[Finding]:
    counted = [number.lstrip("0") for number in (message.cycle_count, message.load_number) if number]
    if cycle_number and counted and cycle_number.strip().lstrip("0") not in counted:
        sentence = f"The message counts cycle {' and load '.join(counted)}; recorded at the start was {cycle_number}."
        yield look("cycle-number-differs", subject, sentence, "Look whether the message belongs to this load.")
    said, held = message.quantities.get("sterilize_s"), numbers.get("hold_s")
    if said is not None and held is not None and abs(said - held) > SAME_HOLD_S:
        sentence = f"The message says {TIME.words(said)} of sterilizing; the trace shows a hold of {TIME.words(held)}."
        yield look("hold-differs", subject, sentence, "Look whether both belong to this cycle.")
    said, highest = message.quantities.get("highest_c"), numbers.get("highest_c")
    if said is not None and highest is not None and abs(said - highest) > SAME_HIGHEST_K:
        sentence = f"The message says {TEMPERATURE.words(said)} at most; the trace shows {TEMPERATURE.words(highest)}."
        yield look("highest-differs", subject, sentence, "Look whether both belong to this cycle.")


def reason_wanted(subject: str, found: tuple[Finding, ...], reason: str) -> Iterator[Finding]:
    """Nobody releases past a difference without saying why.

    Args:
        subject: the load.
        found: the differences.
        reason: what whoever signs has said.

    Yields:
        One stop when there is a difference and no reason.
    """
    if found and not reason.strip():
        words = " ".join(finding.sentence for finding in found)
        yield stop(
            "difference-unexplained",
            subject,
            f"Cannot release {subject}: message and record differ, the reason must be stated. {words}",
            "Write why the load may be released all the same, or reject it.",
        )


def said_rows(message: DeviceMessage) -> tuple[tuple[str, str], ...]:
    """Everything that a message says, each with its name, for a page."""
    start = f"{message.started:{MOMENT}}" if message.started else ""
    zone = "" if message.started is None or message.started.tzinfo else ", by the machine’s clock"
    plain = (
        ("Message", message.control_id),
        ("Device", f"{message.device}{NBSP}{message.device_name}".rstrip(NBSP)),
        ("Type of cycle", message.cycle_type),
        ("Cycles completed", message.cycle_count),
        ("Load of the day", message.load_number),
        ("Lot", message.lot),
        ("Started", f"{start}{zone}"),
        ("Complete at", message.completed),
        ("Device status", message.device_status),
        ("Load status", message.load_status),
    )
    times = ((words, name, TIME) for name, (_, words) in TIMES.items())
    temperatures = ((words, name, TEMPERATURE) for name, (_, words) in TEMPERATURES.items())
    measured = (
        (words, quantity.words(message.quantities[name]))
        for words, name, quantity in (*times, *temperatures)
        if name in message.quantities
    )
    notices = (
        (words[0].upper() + words[1:], "Yes" if message.notices[name] else "No")
        for name, (_, words) in NOTICES.items()
        if name in message.notices
    )
    return (*((what, value) for what, value in plain if value), *measured, *notices)
