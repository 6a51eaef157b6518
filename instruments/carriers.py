"""What the carriers of a mark share: the answer they give, dates of every digit order, sentences."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from journal.findings import Finding, Severity

GS = "\x1d"
"""Group separator: how a scanner sends the symbol's separator (GS1 General Specifications, 7.8)."""

LONGEST_SHOWN = 60  # characters of a mark that a sentence repeats

CENTURY_OF = 2026
"""Year whose window settles two-digit years; held fixed, so that a mark reads the same for ever."""
YEARS_BACK = 49  # GS1 General Specifications, 7.12: 49 years back to 50 ahead
MONTHS = 12
HOURS = 24
MINUTES = 60

NOT_INDIVIDUAL = "not-individual"  # slug of the finding that a mark names a kind or a lot only

AGAIN = "Scan it again; if it stays so, use another mark of the piece and have the label looked at."


class Scheme(StrEnum):
    """The standard a mark follows."""

    GS1 = "gs1"
    HIBC = "hibc"
    ICCBBA = "iccbba"
    OWN = "own"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a mark says.

    Args:
        scheme: the standard it follows.
        identifiers: what it holds, by name ("gtin", "serial", "expiry"); dates are ISO dates, times "16:00".
        key: canonical text under which the mark is stored and found.
        findings: what is wrong or worth a look; a stop means: do not act on it.
    """

    scheme: Scheme
    identifiers: Mapping[str, str]
    key: str
    findings: tuple[Finding, ...] = ()


def shown(text: str) -> str:
    """A mark as a sentence repeats it: separators visible, other control characters escaped, cut when long."""
    visible = _visible(text)
    return visible if len(visible) <= LONGEST_SHOWN else f"{visible[:LONGEST_SHOWN]}…"


def text_key(text: str) -> str:
    """Key of a mark that follows no standard or cannot be trusted: its own text in capitals, fit to be stored."""
    return f"text:{_visible(text.strip()).upper()}"


def listed(identifiers: Mapping[str, str]) -> str:
    """Identifiers in words: "lot 10X3, expiry 2020-01-15"."""
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in identifiers.items())


def put(identifiers: dict[str, str], name: str, value: str, text: str) -> list[Finding]:
    """Enter an identifier; a mark that gives it twice with different values gets a stop."""
    if value and identifiers.setdefault(name, value) != value:
        both = f"it gives {listed({name: identifiers[name]})} and {value}"
        return [unreadable(text, both, "give one", "contradiction")]
    return []


def unreadable(text: str, found: str, expected: str, slug: str = "structure", remedy: str = AGAIN) -> Finding:
    """The stop that a mark cannot be read as it stands."""
    sentence = f"Cannot read the mark: {found}, must {expected}."
    return Finding(slug, Severity.STOP, shown(text), sentence, remedy)


def no_date(text: str, name: str, digits: str, order: str) -> Finding:
    """The stop that digits are no date."""
    found = f"its {name.replace('_', ' ')} date is {digits!r}"
    return unreadable(text, found, f"be a date as {order}", "date-impossible")


def not_individual(text: str, found: str, missing: str) -> Finding:
    """The look that a mark names a kind or a lot, not one piece."""
    return Finding(
        NOT_INDIVIDUAL,
        Severity.LOOK,
        shown(text),
        f"The mark does not name one piece: it gives {found}, must give {missing} as well.",
        "Use it for stock; find a piece by its own code.",
    )


def date_of(order: str, digits: str) -> tuple[str, str] | None:
    """A date from digits in a stated order.

    A date without day is the last day of its month. Two-digit years lie from 1977 to 2076; three-digit years
    begin with their century, 9 for 19 and 0 for 20.

    Args:
        order: one letter a digit, of Y (year), M (month), D (day), J (day of the year), H (hour), N (minute),
            S (second): "YYMMDDHH", "YYYJJJ".
        digits: as many digits as letters.

    Returns:
        ISO date and time of day ("16:00", "14:15:16" or empty); None when there is no such date.

    Source:
        Window of years: GS1 General Specifications, 7.12. Century digit: ISBT 128.
    """
    part = {
        letter: "".join(digit for place, digit in zip(order, digits, strict=True) if place == letter)
        for letter in "YMDJHNS"
    }
    try:
        year = _full_year(part["Y"])
        if part["J"]:
            day = date(year, 1, 1) + timedelta(int(part["J"]) - 1)
        else:
            month = int(part["M"])
            day = date(year, month, int(part["D"] or monthrange(year, month)[1]))
    except ValueError:
        return None
    clock = ":".join(part[letter] for letter in "HNS" if part[letter])
    if day.year != year or not _is_clock(part):
        return None
    return day.isoformat(), f"{clock}:00" if len(clock) == 2 else clock


def _full_year(digits: str) -> int:
    if len(digits) == 3:
        return int(digits) + (1000 if digits[0] == "9" else 2000)
    if len(digits) == 4:
        return int(digits)
    first = CENTURY_OF - YEARS_BACK
    return first + (int(digits) - first) % 100


def _is_clock(part: Mapping[str, str]) -> bool:
    return int(part["H"] or 0) < HOURS and int(part["N"] or 0) < MINUTES and int(part["S"] or 0) < MINUTES


def _visible(text: str) -> str:
    return "".join(
        "␝" if character == GS else character if character.isprintable() else f"\\u{ord(character):04x}"
        for character in text
    )
