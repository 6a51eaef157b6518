"""Reading HL7 SIU: what a scheduling system notifies of an appointment, as a booking.

Source: HL7 v2.3 to v2.5, chapter 10 (SIU^S12, S13, S14, S15, S17, S26; segments SCH, TQ1, AIS, AIG, AIL; tables 0276
to 0278) and chapter 3 (PID).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, tzinfo
from typing import Any

from lists.intake.scheduling import (
    MISSING,
    NOT_IN_TABLE,
    OTHER_EVENT,
    OTHER_PROCESSING,
    OTHER_TYPE,
    OTHER_VERSION,
    Fault,
    Form,
    Reading,
    Secrets,
    Unreadable,
    Verb,
    reading_of,
)
from lists.intake.segments import NULL, Segments, moment_of

VERSIONS = ("2.3", "2.3.1", "2.4", "2.5", "2.5.1")
EVENTS = {
    "S12": Verb.NEW,
    "S13": Verb.RESCHEDULE,
    "S14": Verb.MODIFY,
    "S15": Verb.CANCEL,
    "S17": Verb.CANCEL,
    "S26": Verb.NO_SHOW,
}
BOOKED = ("booked", "overbook", "started", "complete")
OFF = ("cancelled", "dc", "deleted", "noshow")
OTHER_STATUS = ("pending", "waitlist", "blocked")
"""Table 0278, filler status codes, by what they say of the case."""
PER_MINUTE = {"MIN": 1.0, "M": 1.0, "MINUTES": 1.0, "H": 60.0, "HR": 60.0, "S": 1 / 60, "SEC": 1 / 60}
"""Minutes in a unit of SCH-10 and AIS-8; common practice, no source."""
LONGEST_MIN = 24 * 60
SIZE, IMPLANT, OPERATOR = "SIZE", "IMPLANT", "OPERATOR"
"""The types in AIG-4 under which a resource is the label of the planned size, the diameter and length of the planned
implant, or the operator's pseudonymous code: an agreement of this unit."""
KEPT = {
    "MSH": (1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13, 18),
    "SCH": (1, 2, 9, 10, 11, 25),
    "TQ1": (7, 8),
    "RGS": (1, 2),
    "AIS": (1, 2, 3, 4, 5, 6, 7, 8),
    "AIG": (1, 2, 3, 4),
    "AIL": (1, 2, 3, 4),
}
"""The fields that are kept; every other may hold something of the patient and is blanked."""
NAMED = {2: (1,), 3: (1,), 4: (1,), 5: (1, 2, 3), 6: (1, 2), 9: (1, 2), 13: (1, 7), 18: (1,), 19: (1,)}
"""The fields and components of PID that name a patient."""
PLACES = {
    "sender": "MSH-3",
    "control": "MSH-10",
    "verb": "MSH-9.2",
    "reference": "SCH-2",
    "theatre": "AIL-3",
    "procedure": "AIS-3",
    "planned_size": "AIG-3",
    "planned_implant": "AIG-3",
    "operator": "AIG-3",
    "reason": "SCH-6",
}


def read_siu(message: bytes, *, zone: tzinfo) -> Reading:
    """Read one message.

    Args:
        message: its segments, from `messages_in`.
        zone: the unit's, for moments without one.

    Returns:
        A booking, or every field that cannot be read.

    Raises:
        Unreadable: it is no HL7 in the character set that it names, or its header has an escape sequence that says
            nothing.
    """
    segments = Segments.of(message)
    secrets = Secrets(word for number, parts in NAMED.items() for word in segments.words_of("PID", number, parts))
    faults = list(_header(segments))
    values: dict[str, Any] = {"sender": _sender(segments), "control": segments.at("MSH", 10), "reference": ""}
    patient = ""
    if not faults:
        for name, read in _FIELDS.items():
            try:
                values[name] = read(segments, zone)
            except Unreadable as wrong:
                faults += wrong.faults
        patient = values.pop("patient", "")
        faults += () if faults else _lacking(values)
    return reading_of(
        Form.HL7,
        values,
        faults,
        kept=segments.kept(KEPT),
        secrets=secrets,
        patient=patient,
        places=PLACES,
    )


def _header(segments: Segments) -> Iterator[Fault]:
    kind, event = segments.at("MSH", 9), segments.at("MSH", 9, 2)
    version, processing = segments.at("MSH", 12), segments.at("MSH", 11)
    if kind != "SIU":
        yield Fault("MSH-9.1", kind, "SIU", OTHER_TYPE)
    elif event not in EVENTS:
        yield Fault("MSH-9.2", event, f"one of {', '.join(EVENTS)}", OTHER_EVENT)
    if version not in VERSIONS:
        yield Fault("MSH-12", version, f"one of {', '.join(VERSIONS)}", OTHER_VERSION)
    if processing != "P":
        yield Fault("MSH-11", processing, "P: a list is no place for trials", OTHER_PROCESSING)
    if not _sender(segments):
        yield Fault("MSH-3", "", "the name of the sending system", MISSING)
    if not segments.at("MSH", 10):
        yield Fault("MSH-10", "", "the sender’s own number of the message", MISSING)


def _sender(segments: Segments) -> str:
    """Application and facility, as far as they are named."""
    return "/".join(filter(None, (segments.at("MSH", 3), segments.at("MSH", 4))))


def _patient(segments: Segments, _zone: tzinfo) -> str:
    """Who gave the number, and the number: PID-3, else PID-2 as senders of v2.3 have it."""
    for field in (3, 2):
        if number := segments.at("PID", field):
            oid = segments.at("PID", field, 4, 2)
            giver = f"urn:oid:{oid}" if segments.at("PID", field, 4, 3) == "ISO" else segments.at("PID", field, 4)
            return f"{giver}|{number}"
    return ""


def _verb(segments: Segments, _zone: tzinfo) -> Verb:
    """What the event says; a status that says the opposite is a fault."""
    verb = EVENTS[segments.at("MSH", 9, 2)]
    status = segments.at("SCH", 25)
    known = {*BOOKED, *OFF, *OTHER_STATUS, ""}
    if status.lower() not in known:
        raise Unreadable(Fault("SCH-25", status, "a status of table 0278", NOT_IN_TABLE))
    if verb in (Verb.NEW, Verb.RESCHEDULE, Verb.MODIFY) and status.lower() not in {*BOOKED, ""}:
        event = segments.at("MSH", 9, 2)
        raise Unreadable(Fault("SCH-25", status, f"Booked in SIU^{event}; S15 cancels", NOT_IN_TABLE))
    return verb


def _reference(segments: Segments, _zone: tzinfo) -> str:
    """The number that the scheduling system gave, else that of whoever asked for the appointment."""
    found = segments.at("SCH", 2) or segments.at("SCH", 1)
    if found in ("", NULL):
        raise Unreadable(Fault("SCH-2", "", "the number of the appointment, or SCH-1", MISSING))
    return found


def _sent_at(segments: Segments, zone: tzinfo) -> datetime:
    return moment_of(segments.at("MSH", 7), "MSH-7", zone).astimezone(UTC)


def _sequence(segments: Segments, _zone: tzinfo) -> int | None:
    found = segments.at("MSH", 13)
    if found and not (found.isascii() and found.isdigit() and len(found) <= 15):
        raise Unreadable(Fault("MSH-13", found, "a running number, or nothing"))
    return int(found) if found else None


def _code(segments: Segments, place: str, *components: int) -> str | None:
    """A code of a field, by the first of these components that holds one; None = the message does not say it."""
    name, number = place.split("-")
    for component in components:
        if found := segments.at(name, int(number), component):
            if found == NULL:
                raise Unreadable(Fault(place, NULL, "a code: a case always has one", MISSING))
            return found
    return None


def _resource(segments: Segments, kind: str) -> str | None:
    """What the first resource of this type is; None = the message does not say it."""
    for resource in segments.all_of("AIG"):
        if segments.of_segment(resource, 4) == kind:
            found = segments.of_segment(resource, 3)
            return "" if found == NULL else found
    return None


def _starts_at(segments: Segments, zone: tzinfo) -> datetime | None:
    """Start of the appointment, else of its first service."""
    places = (("SCH-11.4", ("SCH", 11, 4)), ("TQ1-7", ("TQ1", 7, 1)), ("AIS-4", ("AIS", 4, 1)))
    for place, where in places:
        if found := segments.at(*where):
            return moment_of(found, place, zone).astimezone(UTC)
    return None


def _duration_min(segments: Segments, zone: tzinfo) -> int | None:
    """Duration as stated, else from start to end."""
    for place, unit_place, name, field in (("SCH-9", "SCH-10", "SCH", 9), ("AIS-7", "AIS-8", "AIS", 7)):
        if found := segments.at(name, field):
            unit = segments.at(name, field + 1)
            if unit.upper() not in PER_MINUTE:
                raise Unreadable(Fault(unit_place, unit, "MIN, HR or SEC", NOT_IN_TABLE if unit else MISSING))
            return _whole_minutes(found, PER_MINUTE[unit.upper()], place)
    for place, where in (("SCH-11.5", ("SCH", 11, 5)), ("TQ1-8", ("TQ1", 8, 1))):
        if (found := segments.at(*where)) and (start := _starts_at(segments, zone)):
            minutes = (moment_of(found, place, zone).astimezone(UTC) - start).total_seconds() / 60
            return _whole_minutes(str(minutes), 1, place)
    return None


def _whole_minutes(text: str, factor: float, place: str) -> int:
    wanted = f"a duration of 1 to {LONGEST_MIN} min"
    try:
        minutes = round(float(text) * factor)
    except (ValueError, OverflowError):
        raise Unreadable(Fault(place, text, wanted)) from None
    if not 0 < minutes <= LONGEST_MIN:
        raise Unreadable(Fault(place, text, wanted))
    return minutes


def _lacking(values: dict[str, Any]) -> Iterator[Fault]:
    """A new case is stated in full; a case that is known keeps what a later message does not say."""
    wanted = {"theatre": "AIL-3", "procedure": "AIS-3", "starts_at": "SCH-11.4", "duration_min": "SCH-9"}
    always = {"starts_at"} if values["verb"] is Verb.RESCHEDULE else set(wanted) if values["verb"] is Verb.NEW else ()
    for name in always:
        if values[name] is None:
            yield Fault(wanted[name], "", f"stated in an appointment that is {values['verb']}", MISSING)


_FIELDS: dict[str, Callable[[Segments, tzinfo], Any]] = {
    "verb": _verb,
    "reference": _reference,
    "sent_at": _sent_at,
    "sequence": _sequence,
    "theatre": lambda segments, _: _code(segments, "AIL-3", 2, 1),
    "procedure": lambda segments, _: _code(segments, "AIS-3", 1),
    "planned_size": lambda segments, _: _resource(segments, SIZE),
    "planned_implant": lambda segments, _: _resource(segments, IMPLANT),
    "operator": lambda segments, _: _resource(segments, OPERATOR),
    "starts_at": _starts_at,
    "duration_min": _duration_min,
    "reason": lambda segments, _: segments.at("SCH", 6),
    "patient": _patient,
}


def rejects(faults: tuple[Fault, ...]) -> bool:
    """Whether a message is of a kind that is not taken at all, so that sending it again is of no use."""
    return any(fault.code in (OTHER_TYPE, OTHER_EVENT, OTHER_PROCESSING, OTHER_VERSION) for fault in faults)
