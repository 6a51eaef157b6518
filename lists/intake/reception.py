"""What a file or a request holds: HL7 or FHIR, each message read."""

from __future__ import annotations

from datetime import datetime, tzinfo

from lists.intake.appointments import appointments_in, original_of, read_appointment
from lists.intake.scheduling import Reading
from lists.intake.segments import messages_in
from lists.intake.siu import read_siu

Received = tuple[Reading, bytes]
"""A message as read, and as it came."""


def received_in(data: bytes, *, sender: str, at: datetime, zone: tzinfo) -> list[Received]:
    """Every message of a file, in its order.

    Args:
        data: FHIR where it begins with a brace, else HL7.
        sender: who sent it, where a FHIR resource does not say so itself.
        at: when it came, aware.
        zone: the unit's, for HL7's moments without one.

    Raises:
        Unreadable: something of it is neither, so nothing of it is taken.
    """
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        return fhir_in(data, sender=sender, at=at)
    return [(read_siu(message, zone=zone), message) for message in messages_in(data)]


def fhir_in(data: bytes, *, sender: str, at: datetime) -> list[Received]:
    """Every appointment of a FHIR resource, in its order.

    Raises:
        Unreadable: it holds something else.
    """
    return [(read_appointment(one, sender=sender, at=at), original_of(one, at=at)) for one in appointments_in(data)]
