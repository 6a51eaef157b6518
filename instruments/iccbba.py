"""ISBT 128 data structures, as ICCBBA uses them for the unique identification of devices."""

from __future__ import annotations

import re
from collections.abc import Mapping

from instruments.carriers import (
    Decoded,
    Scheme,
    date_of,
    listed,
    no_date,
    not_individual,
    put,
    shown,
    text_key,
    unreadable,
)
from journal.findings import Finding

_STRUCTURE = re.compile(
    r"=\+(?P<structures>[0-9]{2})[0-9]{3}"
    r"|=/(?P<di>[0-9A-Z]{16})"
    r"|=,(?P<serial>[0-9A-Z]{6})"
    r"|=>(?P<expiry>[0-9]{6})"
    r"|=\}(?P<production>[0-9]{6})"
    r"|&,1(?P<lot>[0-9A-Z]{18})"
    r"|=(?P<donation>[A-NP-Z1-9][0-9A-Z]{14})"
)
"""Data structures (FDA, UDI formats by issuing agency 1.3, 2017; the opening of a compound message: ISBT 128)."""

DATES = ("expiry", "production")
DATE_ORDER = "YYYJJJ"


def read(text: str) -> Decoded:
    """Read a mark that begins with = or &.

    Args:
        text: the mark without spaces at its ends.

    Returns:
        Identifiers "di" (processor, product and description, 16 characters), "serial", "donation", "expiry",
        "production", "lot", and "structures" where the mark says how many it holds; all as encoded, save that
        dates are ISO dates.
    """
    identifiers: dict[str, str] = {}
    findings: list[Finding] = []
    place = count = 0
    while place < len(text) and (match := _STRUCTURE.match(text, place)):
        findings += _take(identifiers, str(match.lastgroup), match[match.lastgroup or 0], text)
        place, count = match.end(), count + (match.lastgroup != "structures")
    if place < len(text):
        found = f"at character {place + 1} it holds {shown(text[place:])!r}"
        findings.append(unreadable(text, found, "hold an ISBT 128 data structure"))
    elif int(identifiers.get("structures", count)) != count:
        announced = int(identifiers["structures"])
        findings.append(unreadable(text, f"it holds {count} of {announced} parts", "hold all", "incomplete"))
    if findings:
        return Decoded(Scheme.ICCBBA, identifiers, text_key(text), tuple(findings))
    individual = "serial" in identifiers or "donation" in identifiers
    if "di" not in identifiers or not individual:
        missing = "a device identifier (=/)" if individual else "a serial or a donation number"
        findings.append(not_individual(text, listed(identifiers), missing))
    return Decoded(Scheme.ICCBBA, identifiers, _key(identifiers) or text_key(text), tuple(findings))


def _take(identifiers: dict[str, str], name: str, value: str, text: str) -> list[Finding]:
    if name in DATES:
        read_as = date_of(DATE_ORDER, value)
        if read_as is None:
            return [no_date(text, name, value, DATE_ORDER)]
        value = read_as[0]
    return put(identifiers, name, value, text)


def _key(identifiers: Mapping[str, str]) -> str | None:
    if "di" not in identifiers:
        return None
    openings = {"di": "=/", "serial": "=,", "donation": "="}
    if not {"serial", "donation"} & identifiers.keys():
        openings["lot"] = "&,1"
    parts = [opening + identifiers[name] for name, opening in openings.items() if name in identifiers]
    return f"iccbba:{''.join(parts)}"
