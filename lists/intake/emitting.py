"""Writing for other systems: a case as SIU^S12, acknowledgements, and a case as FHIR Appointment.

What is written says nothing of the patient. Source: HL7 v2.5, chapters 2 and 10; FHIR 4.3.0 and 5.0.0, Appointment.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from lists.intake.appointments import EXTENSIONS, R5
from lists.intake.scheduling import Fault, Unreadable
from lists.intake.segments import Segments
from lists.intake.siu import IMPLANT, OPERATOR, SIZE, VERSIONS, rejects

US = "LUMENKEEP"
"""The name under which we send."""
NUMBER_SYSTEM = "urn:lumenkeep:list-number"
LONGEST_TEXT = 80
"""MSA-3 holds so many characters in the versions that are taken (from memory)."""
_ESCAPES = {"\\": "\\E\\", "|": "\\F\\", "^": "\\S\\", "&": "\\T\\", "~": "\\R\\", "\r": "\\.br\\", "\n": "\\.br\\"}


@dataclass(frozen=True, slots=True)
class Planned:
    """A case as others are told of it.

    Args:
        reference: the list system's number of it.
        theatre, theatre_name: code and name.
        procedure, procedure_name: code and name.
        starts_at: start, aware.
        duration_min: planned duration [min], over 0.
        planned_size: label; empty = none.
        planned_implant: diameter and length; empty = none.
        operator: pseudonymous code; empty = not stated.
        cancelled: it does not take place.
    """

    reference: str
    theatre: str
    theatre_name: str
    procedure: str
    procedure_name: str
    starts_at: datetime
    duration_min: int
    planned_size: str = ""
    planned_implant: str = ""
    operator: str = ""
    cancelled: bool = False

    def __post_init__(self) -> None:
        if self.starts_at.tzinfo is None or self.duration_min <= 0:
            raise ValueError("A case that others are told of has a start with its zone and a duration over 0.")

    @property
    def ends_at(self) -> datetime:
        """When it is expected to be over."""
        return self.starts_at + timedelta(minutes=self.duration_min)


def _escaped(text: str) -> str:
    return "".join(_ESCAPES.get(character, character) for character in text)


def _line(name: str, fields: dict[int, str]) -> str:
    """A segment of these fields, by their numbers; what they hold is escaped already."""
    return "|".join([name, *(fields.get(number, "") for number in range(1, max(fields) + 1))])


def _moment(moment: datetime) -> str:
    return moment.strftime("%Y%m%d%H%M%S%z")


def _coded(code: str, name: str) -> str:
    return f"{_escaped(code)}^{_escaped(name)}^L"


def write_siu(case: Planned, *, at: datetime, control: str) -> str:
    """A case as SIU^S12, or S15 where it is cancelled, of version 2.5 in UTF-8; segments end in CR.

    Args:
        case: what is told.
        at: when it is sent, aware.
        control: our number of the message, at most 20 characters.
    """
    event = "S15" if case.cancelled else "S12"
    lines = [
        _header(f"SIU^{event}^SIU_S12", at=at, control=control) + "||||||UNICODE UTF-8",
        _line("SCH", _schedule(case)),
        _line("RGS", {1: "1"}),
        _line("AIS", {1: "1", 3: _coded(case.procedure, case.procedure_name), 4: _moment(case.starts_at)}),
    ]
    lines += _resources(case)
    lines.append(_line("AIL", {1: "1", 3: _escaped(case.theatre)}))
    return _ended(lines)


def _resources(case: Planned) -> list[str]:
    """What is planned beside theatre and time, each as a resource of its type."""
    stated = (
        (case.planned_size, f"{SIZE}^Planned size^L"),
        (case.planned_implant, f"{IMPLANT}^Planned implant^L"),
        (case.operator, f"{OPERATOR}^Operator, pseudonymous^L"),
    )
    rows = [(value, kind) for value, kind in stated if value]
    return [
        _line("AIG", {1: str(number), 3: _escaped(value), 4: kind})
        for number, (value, kind) in enumerate(rows, start=1)
    ]


def _header(kind: str, *, at: datetime, control: str, version: str = "2.5", to: tuple[str, str] = ("", "")) -> str:
    """MSH up to MSH-12; the first field is the separator, so each stands one place before its number."""
    receiver = {4: to[0], 5: to[1]}
    return _line("MSH", {1: "^~\\&", 2: US, **receiver, 6: _moment(at), 8: kind, 9: control, 10: "P", 11: version})


def _schedule(case: Planned) -> dict[int, str]:
    return {
        2: _escaped(case.reference),
        6: "ROUTINE^Routine appointment^HL70276",
        9: str(case.duration_min),
        10: "MIN",
        11: f"^^^{_moment(case.starts_at)}^{_moment(case.ends_at)}",
        16: f"^{US}",
        20: f"^{US}",
        25: "Cancelled" if case.cancelled else "Booked",
    }


def _ended(lines: Sequence[str]) -> str:
    return "".join(f"{line}\r" for line in lines)


def write_ack(
    message: bytes, code: str, text: str, *, faults: Sequence[Fault] = (), at: datetime, control: str
) -> str:
    """The acknowledgement of a message, in the sender's version; segments end in CR.

    Args:
        message: what is acknowledged; it may be unreadable.
        code: AA, AE or AR (table 0008).
        text: what was done, or why not; cut to what MSA-3 holds.
        faults: what could not be read; each is an ERR segment from version 2.5 on.
        at: when it is sent, aware.
        control: our number of the acknowledgement, at most 20 characters.
    """
    try:
        asked = Segments.header_of(message)
        to = tuple(_escaped(_ascii(asked.at("MSH", number))) for number in (3, 4))
        event, number, version = (_escaped(_ascii(asked.at("MSH", *place))) for place in ((9, 2), (10,), (12,)))
    except Unreadable:
        to, event, number, version = ("", ""), "", "", ""
    version = version if version in VERSIONS else "2.5"
    full = version.startswith("2.5")
    kind = f"ACK^{event}^ACK" if full else f"ACK^{event}".rstrip("^")
    lines = [
        _header(kind, at=at, control=control, version=version, to=(to[0], to[1])),
        _line("MSA", {1: code, 2: number or "unknown", 3: _escaped(_ascii(text)[:LONGEST_TEXT])}),
    ]
    if full:
        lines += [_line("ERR", _said(fault)) for fault in faults]
    return _ended(lines)


def _said(fault: Fault) -> dict[int, str]:
    segment, _, rest = fault.place.partition("-")
    field, _, component = rest.partition(".")
    where = "^".join((segment[:3], "1", *filter(None, (field, component and "1", component))))
    return {2: where, 3: f"{fault.code}^^HL70357", 4: "E", 8: _escaped(_ascii(fault.sentence)[:250])}


def _ascii(text: str) -> str:
    """Text for systems that read no other character set."""
    for character, plain in {"“": '"', "”": '"', "’": "'", "×": "x", "–": "-"}.items():
        text = text.replace(character, plain)
    return text.encode("ascii", "replace").decode()


def answer_code(state: str, faults: Sequence[Fault]) -> str:
    """AR for what is not taken at all, AE for what is refused, AA for what is kept and applied, or waits here."""
    if rejects(tuple(faults)):
        return "AR"
    return "AE" if faults or state == "refused" else "AA"


def write_appointment(case: Planned, *, at: datetime, version: str = R5) -> dict[str, Any]:
    """A case as FHIR Appointment.

    Args:
        case: what is told.
        at: when it was last changed, aware.
        version: R4B ("4.3") or R5 ("5.0").
    """
    service = {"coding": [{"code": case.procedure, "display": case.procedure_name}]}
    place = {"type": "Location", "identifier": {"value": case.theatre}, "display": case.theatre_name}
    written: dict[str, Any] = {
        "resourceType": "Appointment",
        "meta": {"lastUpdated": at.isoformat()},
        "identifier": [{"system": NUMBER_SYSTEM, "value": case.reference}],
        "status": "cancelled" if case.cancelled else "booked",
        "serviceType": [{"concept": service} if version == R5 else service],
        "start": case.starts_at.isoformat(),
        "end": case.ends_at.isoformat(),
        "minutesDuration": case.duration_min,
        "participant": [{"actor": place, "required": True if version == R5 else "required", "status": "accepted"}],
    }
    stated = {url: getattr(case, name) for name, url in EXTENSIONS.items()}
    if any(stated.values()):
        written["extension"] = [{"url": url, "valueString": value} for url, value in stated.items() if value]
    return written


def bundle(cases: Sequence[Planned], *, at: datetime, version: str = R5) -> str:
    """Cases as a FHIR Bundle of appointments, found by a search, in JSON."""
    written = [write_appointment(case, at=at, version=version) for case in cases]
    found = {
        "resourceType": "Bundle",
        "type": "searchset",
        "total": len(written),
        "entry": [{"resource": one} for one in written],
    }
    return json.dumps(found, ensure_ascii=False, indent=1)
