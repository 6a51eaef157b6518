"""Whether what a station's scanner reads can be trusted."""

from __future__ import annotations

from datetime import datetime

from instruments.carriers import Scheme, shown
from instruments.identity import decode
from journal.findings import Finding, stop
from journal.models import Station
from journal.reads import policy, scanner_trusted


def scanner_doubt(text: str, station: Station, at: datetime) -> Finding | None:
    """Why a GS1 mark with a serial is not taken at a station whose scanner has not passed its check.

    A lost separator lengthens a serial in silence. Marks that name no serial, and our own codes, have none to lose.

    Args:
        text: what was scanned.
        station: where.
        at: when.
    """
    decoded = decode(text)
    if decoded.scheme is not Scheme.GS1 or "serial" not in decoded.identifiers:
        return None
    if not policy("scanner_checked") or scanner_trusted(station, at):
        return None
    sentence = (
        f"Cannot take {shown(text.strip())}: the scanner of {station} is not checked, must have passed the card."
    )
    return stop("scanner-unchecked", decoded.key, sentence, "Scan the scanner card first, or the unit's own code.")
