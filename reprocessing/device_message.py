"""A machine's own message of a cycle: HL7 v2, from version 2.6 on, SDR^S31 or SDR^S32.

Such a message is MSH, then SDD (the device and its load), then SCD (the cycle). Read are only fields whose meaning
the standard states; of codes that each site chooses for itself (device status, load status, type of cycle) no meaning
is guessed: they stand as they came. No unit is guessed. A message that names a patient or a physician is refused.

Source: HL7 v2.6 to v2.8.2, chapter 17; names and types of fields as in the tables of hl7apy, their definitions as in
HL7's own segment definitions of SCD and SDD (read in full; what is quoted of them stands in docs/imports.md).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

import hl7

from journal.documents import quoted

FRAMING = "\ufeff\x0b\x1c \r\n"  # around a message: byte-order mark, and the frame it is sent in over a line
CYCLE_MESSAGES = ("SDR^S31", "SDR^S32")
FIRST_VERSION = (2, 6)
LONGEST_CELL = 80  # common practice, no source
NULL = '""'  # says that a field is empty

# Units of UCUM: what to add to a number, and then to divide it by, to have seconds or °C.
SECONDS = {"s": (0.0, 1.0), "min": (0.0, 1 / 60), "h": (0.0, 1 / 3600)}
CELSIUS = {"Cel": (0.0, 1.0), "[degF]": (-32.0, 1.8), "K": (-273.15, 1.0)}
EXPECTED_MOMENT = "a date and time such as 20261125101500+0100"

# Field of SCD, and what the standard calls it.
TIMES: dict[str, tuple[int, str]] = {
    "condition_s": (6, "Conditioning time"),
    "sterilize_s": (7, "Sterilizing time"),
    "exhaust_s": (8, "Exhaust time"),
    "dry_s": (12, "Drying time"),
    "thermal_rinse_s": (29, "Thermal rinse time"),
    "wash_s": (30, "Wash time"),
    "total_s": (9, "Total cycle time"),
}
TEMPERATURES: dict[str, tuple[int, str]] = {
    "highest_c": (3, "Highest temperature"),
    "lowest_c": (4, "Lowest temperature"),
    "under_c": (17, "Temperature below the range required"),
    "over_c": (18, "Temperature above what is required"),
}
NOTICES: dict[str, tuple[int, str]] = {
    "aborted": (19, "the cycle was aborted"),
    "alarm": (20, "time, temperature or pressure was invalid for a phase"),
    "long_charge": (21, "the charge phase took longer than allowed"),
    "long_exhaust": (22, "the exhaust phase took longer than allowed"),
    "long_fast_exhaust": (23, "the fast exhaust phase took longer than allowed"),
    "reading_failure": (27, "the cycle’s data could not be read without an error"),
}
PERSONAL: dict[int, str] = {32: "a patient’s procedure", 33: "a patient", 34: "a physician"}

YES, NO = "Y", "N"
NOT_SAID = frozenset({"", "ASKU", "NA", "NASK", "NAV", "NI", "NP", "UNK"})  # of HL7 table 0532, from memory

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_COUNT = re.compile(r"\d{1,16}", re.ASCII)
_CLOCK = re.compile(r"([01]\d|2[0-3])([0-5]\d)([0-5]\d(\.\d{1,4})?)?([+-]\d{4})?", re.ASCII)
_MOMENT = re.compile(r"(\d{12}|\d{14})(?:\.\d{1,4})?([+-]\d{2}[0-5]\d)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class DeviceMessage:
    """What a machine says of one cycle.

    Args:
        control_id: the message's own number, one for each message of a machine (MSH-10).
        device: number of the machine (SDD-2).
        device_name: its name (SDD-3).
        lot: number of what was treated together (SDD-1).
        load_status: code of the load's status, as it came (SDD-5).
        device_status: code of the machine's status, as it came (SCD-10).
        cycle_type: type of the cycle, as it came (SCD-28).
        cycle_count: cycles that the machine has completed (SCD-2).
        load_number: number of the load on its day (SCD-5).
        started: when the cycle started (SCD-11); without a zone where the machine gives none.
        completed: time of the day at which it was complete, "HH:MM" (SCD-16).
        quantities: times [s] and temperatures [°C] by the keys of `TIMES` and `TEMPERATURES`, as far as said.
        notices: yes or no by the keys of `NOTICES`, as far as said.

    Raises:
        ValueError: the control number or the machine is not named.
    """

    control_id: str
    device: str
    device_name: str = ""
    lot: str = ""
    load_status: str = ""
    device_status: str = ""
    cycle_type: str = ""
    cycle_count: str = ""
    load_number: str = ""
    started: datetime | None = None
    completed: str = ""
    quantities: Mapping[str, float] = field(default_factory=dict)
    notices: Mapping[str, bool] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, value in (("MSH-10, its control number", self.control_id), ("SDD-2, its device", self.device)):
            if not value:
                raise ValueError(f"Cannot read the message: {name}, is empty, must be stated.")

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; what is not said is not there."""
        said = {**asdict(self), "started": self.started.isoformat() if self.started else ""}
        return {name: value for name, value in said.items() if value}

    @classmethod
    def from_dict(cls, said: Mapping[str, Any]) -> DeviceMessage:
        """The message that `as_dict` gave."""
        started = said.get("started")
        return cls(**{**said, "started": datetime.fromisoformat(started) if started else None})


def is_message(content: str) -> bool:
    """Whether a file is a message of HL7 v2 rather than a table."""
    return content.lstrip(FRAMING).startswith(("MSH", "FHS", "BHS"))


def read_message(content: str) -> DeviceMessage:
    """Read a message of one cycle.

    Args:
        content: its text, with or without the frame of a line; segments end in CR, LF or both.

    Returns:
        What it says.

    Raises:
        ValueError: it is no such message; the sentence names segment and field, what was found and what it must be.
    """
    message = _parsed(content)
    header = _one(message, "MSH")
    _check_header(header)
    load, cycle = _one(message, "SDD"), _one(message, "SCD")
    for at, what in PERSONAL.items():
        if cycle.cell(at):
            raise ValueError(f"Cannot take the message: SCD-{at} names {what}, must be empty.")
    found = {name: cycle.quantity(at, SECONDS) for name, (at, _) in TIMES.items()}
    found |= {name: cycle.quantity(at, CELSIUS) for name, (at, _) in TEMPERATURES.items()}
    notices = {name: cycle.notice(at) for name, (at, _) in NOTICES.items()}
    return DeviceMessage(
        control_id=header.cell(10),
        device=load.cell(2),
        device_name=load.cell(3),
        lot=load.cell(1),
        load_status=load.cell(5),
        device_status=cycle.cell(10),
        cycle_type=cycle.cell(28),
        cycle_count=cycle.like(2, _COUNT, "a whole number"),
        load_number=cycle.like(5, _COUNT, "a whole number"),
        started=cycle.moment(11),
        completed=cycle.clock(16),
        quantities={name: value for name, value in found.items() if value is not None},
        notices={name: value for name, value in notices.items() if value is not None},
    )


@dataclass(frozen=True, slots=True)
class _Segment:
    """A segment, asked field by field; each stands once."""

    name: str
    fields: hl7.Segment

    def refusal(self, field: int, found: str, expected: str) -> ValueError:
        return ValueError(f"Cannot read {self.name}-{field}: it is {quoted(found)}, must be {expected}.")

    def cell(self, field: int, component: int = 1, part: int = 1) -> str:
        """A part of a component of a field; empty when it is not said."""
        if field >= len(self.fields):
            return ""
        if len(self.fields[field]) > 1:
            raise self.refusal(field, str(self.fields[field]), "stated once")
        try:
            said = str(self.fields.extract_field(1, field, 1, component, part)).strip()
        except IndexError:
            return ""
        if said == NULL:
            return ""
        if len(said) > LONGEST_CELL:
            raise self.refusal(field, said, f"at most {LONGEST_CELL} characters long")
        return said

    def like(self, field: int, form: re.Pattern[str], expected: str) -> str:
        """A field of a certain form, or empty."""
        said = self.cell(field)
        if said and not form.fullmatch(said):
            raise self.refusal(field, said, expected)
        return said

    def quantity(self, field: int, units: Mapping[str, tuple[float, float]]) -> float | None:
        """A number with its unit, in seconds or °C; None when it is not said."""
        number, unit = self.like(field, _NUMBER, "a number"), self.cell(field, 2)
        if not number:
            return None
        if unit not in units:
            raise ValueError(
                f"Cannot read {self.name}-{field}: its unit is {quoted(unit) if unit else 'not stated'}, "
                f"must be {' or '.join(units)}."
            )
        add, per = units[unit]
        return round((float(number) + add) / per, 6)

    def notice(self, field: int) -> bool | None:
        """Yes or no; None when it is not said."""
        said = self.cell(field)
        if said in NOT_SAID:
            return None
        if said not in (YES, NO):
            raise self.refusal(field, said, f"{YES}, {NO}, or empty")
        return said == YES

    def clock(self, field: int) -> str:
        """A time of the day to the minute, "HH:MM"; empty when it is not said."""
        said = self.like(field, _CLOCK, "a time such as 101500")
        return f"{said[:2]}:{said[2:4]}" if said else ""

    def moment(self, field: int) -> datetime | None:
        """A date and time; None when it is not said."""
        said = self.cell(field)
        if not said:
            return None
        match = _MOMENT.fullmatch(said)
        try:
            digits, offset = match.groups("") if match else ("", "")
            return datetime.fromisoformat(f"{digits[:8]}T{digits[8:]:0<6}{offset}")
        except ValueError:
            raise self.refusal(field, said, EXPECTED_MOMENT) from None


def _parsed(content: str) -> hl7.Message:
    text = re.sub(r"\r\n|\n", "\r", content.strip(FRAMING))
    if not text.startswith("MSH"):
        raise ValueError(f"Cannot read the message: it begins with {quoted(text[:3])}, must begin with MSH.")
    try:
        return hl7.parse(text)
    except (hl7.ParseException, IndexError):
        raise ValueError("Cannot read the message: MSH does not say how its fields are parted, must do so.") from None


def _one(message: hl7.Message, name: str) -> _Segment:
    """The only segment of its name."""
    found = [segment for segment in message if str(segment[0]) == name]
    if len(found) != 1:
        count = f"it has {len(found)} segments" if found else "it lacks the segment"
        raise ValueError(f"Cannot read the message: {count} {name}, must have one of it.")
    return _Segment(name, found[0])


def _check_header(header: _Segment) -> None:
    kind = "^".join(header.cell(9, part) for part in (1, 2))
    if kind not in CYCLE_MESSAGES:
        raise header.refusal(9, kind, f"{' or '.join(CYCLE_MESSAGES)}, the data of a cycle")
    version = header.cell(12)
    parts = [int(part) for part in version.split(".") if part.isdecimal()]
    if tuple(parts) < FIRST_VERSION:
        raise header.refusal(12, version, "2.6 or later")
