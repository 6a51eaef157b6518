"""What a scheduling system says of a case: one neutral booking, whichever form it came in, and when it counts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from enum import StrEnum
from typing import Any, Self

from journal.findings import Finding, stop
from lists.states import CaseState

NOT_KEPT = "[not kept]"
"""What stands where something of the patient stood."""
SHORTEST_SECRET = 2
LONGEST_FOUND = 60
LONGEST_REFERENCE = 40
LONGEST_CODE = 60

MISSING, ILL_FORMED, NOT_IN_TABLE = 101, 102, 103
OTHER_TYPE, OTHER_EVENT, OTHER_PROCESSING, OTHER_VERSION = 200, 201, 202, 203
"""HL7 table 0357, message error condition codes (from memory)."""


class Form(StrEnum):
    """The form that a message came in."""

    HL7 = "HL7 v2"
    FHIR = "FHIR"


class Verb(StrEnum):
    """What a message asks for."""

    NEW = "new"
    RESCHEDULE = "reschedule"
    MODIFY = "modify"
    CANCEL = "cancel"
    NO_SHOW = "no-show"


TAKES_OFF = frozenset({Verb.CANCEL, Verb.NO_SHOW})
"""After these the case does not take place."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A place of a message that cannot be read.

    Args:
        place: segment and field ("SCH-11.4"), or path of an element ("Appointment.start").
        found: what stands there; never anything of the patient.
        expected: what should stand there.
        code: HL7 table 0357.
    """

    place: str
    found: str
    expected: str
    code: int = ILL_FORMED

    @property
    def sentence(self) -> str:
        """The fault in one sentence."""
        cut = self.found if len(self.found) <= LONGEST_FOUND else f"{self.found[:LONGEST_FOUND]} and so on"
        return f"Cannot read {self.place}: it is {f'“{cut}”' if cut else 'nothing'}, must be {self.expected}."

    @property
    def finding(self) -> Finding:
        """The fault as a rule's finding."""
        return stop("message-unreadable", self.place, self.sentence, "Have the sending system put it right.")


class Unreadable(Exception):
    """Bytes that are no message of the form, or are none of a kind that is taken.

    Args:
        faults: at least one.
    """

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__(" ".join(fault.sentence for fault in faults))


@dataclass(frozen=True, slots=True)
class Booking:
    """What one message says of one case; None = the message does not say it, so it stays as it is.

    Args:
        sender: the sending system, as it names itself.
        control: its number of the message.
        verb: what it asks for.
        reference: its number of the case.
        sent_at: when it was sent, aware.
        sequence: its running number, where the sender gives one.
        theatre: code of the theatre, in the sender's words.
        starts_at: start, aware.
        duration_min: planned duration [min].
        procedure: code of the procedure, in the sender's words.
        planned_size: label of the planned size.
        planned_implant: diameter and length of the planned implant.
        operator: the operator's pseudonymous code; never a name.
        patient_ref: pseudonym; never a name or number.
        reason: the sender's code of why.

    Raises:
        ValueError: the reference is empty or too long, or a moment has no zone.
    """

    sender: str
    control: str
    verb: Verb
    reference: str
    sent_at: datetime
    sequence: int | None = None
    theatre: str | None = None
    starts_at: datetime | None = None
    duration_min: int | None = None
    procedure: str | None = None
    planned_size: str | None = None
    planned_implant: str | None = None
    operator: str | None = None
    patient_ref: str | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        if not 0 < len(self.reference) <= LONGEST_REFERENCE:
            raise ValueError(f"A booking needs a reference of 1 to {LONGEST_REFERENCE} characters.")
        if any(moment is not None and moment.tzinfo is None for moment in (self.sent_at, self.starts_at)):
            raise ValueError("A booking needs moments with a zone.")

    def is_older_than(self, sent_at: datetime, sequence: int | None) -> bool:
        """Whether it was sent before another; within the same instant by the running numbers, where both have one."""
        if self.sent_at != sent_at or self.sequence is None or sequence is None:
            return self.sent_at < sent_at
        return self.sequence < sequence

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; moments in ISO 8601."""
        values = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: value.isoformat() if isinstance(value, datetime) else value for name, value in values.items()}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Self:
        """The booking as it was stored."""
        moments = {
            name: datetime.fromisoformat(stored[name]) for name in ("sent_at", "starts_at") if stored[name] is not None
        }
        return cls(**{**stored, **moments, "verb": Verb(stored["verb"])})


@dataclass(frozen=True, slots=True)
class Reading:
    """A message as a reader hands it over.

    Args:
        form: the form it came in.
        sender: the sending system.
        control: its number of the message.
        kept: the text with everything of the patient blanked.
        booking: what it says; None where it has faults.
        faults: what cannot be read; empty where it has a booking.
        patient: the patient's identity in clear. It leaves memory only as a keyed hash.
    """

    form: Form
    sender: str
    control: str
    kept: str
    booking: Booking | None
    faults: tuple[Fault, ...] = ()
    patient: str = field(default="", repr=False)

    def __post_init__(self) -> None:
        if (self.booking is None) != bool(self.faults):
            raise ValueError("A reading has either a booking or faults.")


class Secrets:
    """Names and numbers of a patient, to be blanked wherever else they stand.

    Args:
        words: as the message has them; those of a single character are passed over.
    """

    def __init__(self, words: Iterable[str]) -> None:
        kept = sorted({word.strip() for word in words if len(word.strip()) >= SHORTEST_SECRET}, key=len, reverse=True)
        either = "|".join(map(re.escape, kept))
        self._pattern = re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE) if kept else None

    def blank(self, text: str) -> str:
        """The text without them."""
        return self._pattern.sub(NOT_KEPT, text) if self._pattern else text

    def are_in(self, text: str) -> bool:
        """Whether the text names one."""
        return bool(self._pattern and self._pattern.search(text))


def reading_of(
    form: Form,
    values: Mapping[str, Any],
    faults: Iterable[Fault],
    *,
    kept: str,
    secrets: Secrets,
    patient: str,
    places: Mapping[str, str],
) -> Reading:
    """Put together what a reader has found.

    Args:
        form: the form it came in.
        values: fields of a booking as far as they could be read.
        faults: what could not be read.
        kept: the text of which nothing is left that is not asked for.
        secrets: names and numbers of the patient.
        patient: the identity in clear.
        places: where each field of a booking stands in this form.
    """
    clean: dict[str, Any] = {
        name: secrets.blank(value) if isinstance(value, str) else value for name, value in values.items()
    }
    found = [
        *(replace(fault, found=secrets.blank(fault.found)) for fault in faults),
        *_of_the_patient(values, secrets, places),
        *_too_long(clean, places),
    ]
    booking = None if found else Booking(**{**clean, "verb": Verb(values["verb"])})
    sender, control = clean["sender"][:LONGEST_CODE], clean["control"][:LONGEST_CODE]
    return Reading(form, sender, control, secrets.blank(kept), booking, tuple(found), patient)


def _of_the_patient(values: Mapping[str, Any], secrets: Secrets, places: Mapping[str, str]) -> Iterator[Fault]:
    """A name or number of the patient where a code belongs would be kept in clear."""
    for name, value in values.items():
        if isinstance(value, str) and secrets.are_in(value):
            yield Fault(places[name], "a name or number of the patient", "a code that says nothing of the patient")


def _too_long(values: Mapping[str, Any], places: Mapping[str, str]) -> Iterator[Fault]:
    limits = {"reference": LONGEST_REFERENCE, "planned_size": 20, "planned_implant": 20, "operator": 20}
    for name, value in values.items():
        most = limits.get(name, LONGEST_CODE)
        if isinstance(value, str) and len(value) > most:
            yield Fault(places[name], value, f"at most {most} characters")


def against(
    booking: Booking, *, newest: tuple[datetime, int | None] | None, owner: str, case_state: str | None
) -> Finding | None:
    """What stands against a booking before the case itself is asked.

    Args:
        booking: what is asked for.
        newest: when the latest message was sent that was applied to this case, and its running number.
        owner: the system whose message was applied to this case first; empty = none was.
        case_state: state of the case; None = there is none of this reference.

    Returns:
        `message-overtaken`, `reference-of-other-system` or `case-cancelled`; None = nothing.
    """
    if owner not in ("", booking.sender):
        return stop(
            "reference-of-other-system",
            booking.reference,
            f"Cannot change case {booking.reference}: the message is from {booking.sender}, must be from {owner}, "
            "which booked it.",
            "Have one of the systems number its cases otherwise.",
        )
    if newest is not None and booking.is_older_than(*newest):
        return stop(
            "message-overtaken",
            booking.reference,
            f"Cannot apply this message to case {booking.reference}: it was sent {booking.sent_at.isoformat()}, must "
            f"not be older than the one of {newest[0].isoformat()}, which was applied.",
            "Nothing needs to be done: the later message holds.",
        )
    if case_state == CaseState.CANCELLED and booking.verb not in TAKES_OFF:
        return stop(
            "case-cancelled",
            booking.reference,
            f"Cannot {booking.verb} case {booking.reference}: it is cancelled, must be planned.",
            "A case that is to take place after all is booked anew under a reference of its own.",
        )
    return None
