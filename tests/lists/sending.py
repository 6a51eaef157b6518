"""A list system that sends: messages of an invented patient, as HL7 and as FHIR."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone

from lists.actions import list_system, take_in_message
from lists.intake.reception import received_in
from lists.models import Message
from tests.lists import makers as m
from tests.makers import AT, act

ZONE = timezone.get_default_timezone()
NAME, GIVEN, NUMBER = "Quorrelbaum", "Ottokarine", "7730915528"
"""No such person; the words stand in nothing else, so that they can be searched for."""
PID = rf"PID|1||{NUMBER}^^^UNIT&2.999.1.1&ISO^MR||{NAME}^{GIVEN}^X||19450714|F|||Nowhere 1^^Town||5550199"


def ts(moment: datetime) -> str:
    """A moment as HL7 writes it, in the unit's zone."""
    return moment.astimezone(ZONE).strftime("%Y%m%d%H%M%S")


def siu(
    event: str = "S12",
    *,
    reference: str = "L-1",
    control: str = "1",
    sent: datetime = AT,
    theatre: str = "TH-A",
    procedure: str = "BRO",
    start: datetime | None = m.TOMORROW,
    minutes: int = 60,
    size: str = "",
    sender: str = "PLAN",
    status: str = "",
    pid: str = PID,
) -> bytes:
    """A message; what is empty is not said."""
    times = f"{minutes or ''}|{'MIN' if minutes else ''}|^^^{ts(start) if start else ''}"
    lines = [
        rf"MSH|^~\&|{sender}||||{ts(sent)}||SIU^{event}|{control}|P|2.4",
        f"SCH||{reference}||||ROUTINE|||{times}|||||^A||||^B|||||{status}",
        pid,
        "RGS|1",
        f"AIS|1||{procedure}" if procedure else "",
        f"AIG|1||{size}|SIZE" if size else "",
        f"AIL|1||{theatre}" if theatre else "",
    ]
    return "".join(f"{line}\r" for line in lines if line).encode()


def appointment(**fields: Any) -> dict[str, Any]:
    """An appointment of the same patient and case, R5."""
    plain: dict[str, Any] = {
        "resourceType": "Appointment",
        "id": "a1",
        "meta": {"lastUpdated": AT.isoformat()},
        "identifier": [{"system": "urn:oid:2.999.7", "value": "L-1"}],
        "status": "booked",
        "serviceType": [{"concept": {"coding": [{"code": "BRO"}]}}],
        "start": m.TOMORROW.isoformat(),
        "minutesDuration": 60,
        "subject": {
            "reference": f"Patient/{NUMBER}",
            "identifier": {"system": "urn:oid:2.999.1.1", "value": NUMBER},
            "display": f"{GIVEN} {NAME}",
        },
        "participant": [{"actor": {"reference": "Location/TH-A"}, "status": "accepted"}],
        "description": f"{NAME}, wears a denture",
    }
    return plain | fields


def take(data: bytes, *, at: datetime = AT) -> Message:
    """Take the only message of these bytes in, as the doors do."""
    ((reading, original),) = received_in(data, sender="SITE", at=at, zone=ZONE)
    return take_in_message(reading, original, act=act(list_system(), at=at, method="message"))
