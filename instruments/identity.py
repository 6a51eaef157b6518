"""Marks as text: our own codes, and what any scanned or typed mark says."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""Characters of ISO/IEC 7064 MOD 37,36, each worth its place."""

LEAST_DIGITS = 6
MOST_DIGITS = 12

_SHAPE = re.compile(rf"([A-Z])([0-9]{{{LEAST_DIGITS},{MOST_DIGITS}}})([0-9A-Z])")
AGAIN = "Scan it again, or type it as printed."


class Kind(StrEnum):
    """What an own code stands on; the value is the code's first letter."""

    PIECE = "P"
    TRAY = "T"
    PACK = "K"
    LOAD = "L"
    MACHINE = "M"
    BADGE = "B"
    PLACE = "S"
    CASE = "C"
    TEMPLATE = "N"

    @property
    def word(self) -> str:
        """The kind as a person says it: "piece", "tray", "place"."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class OwnCode:
    """A mark of our own making: a kind and a running number.

    Args:
        kind: what the code stands on.
        number: running number within the kind, 1 to 12 digits, not 0.

    Raises:
        ValueError: the number is out of range.
    """

    kind: Kind
    number: int

    def __post_init__(self) -> None:
        if not 1 <= self.number < 10**MOST_DIGITS:
            raise ValueError(
                f"Cannot use the code: its number is {self.number}, must be from 1 to {10**MOST_DIGITS - 1}."
            )

    @property
    def text(self) -> str:
        """The code as printed: letter, at least six digits, check character."""
        body = f"{self.kind}{self.number:0{LEAST_DIGITS}d}"
        return body + check_character(body)


def check_character(body: str) -> str:
    """Check character of a text by the hybrid system MOD 37,36.

    It finds every single wrong character and nearly every swap of neighbours.

    Args:
        body: digits and capital letters A to Z, without the check character.

    Returns:
        One character of `ALPHABET`.

    Raises:
        ValueError: a character outside the alphabet.

    Source:
        ISO/IEC 7064, hybrid systems, MOD 37,36.
    """
    modulus = len(ALPHABET)
    product = modulus
    for character in body:
        total = (product + ALPHABET.index(character)) % modulus
        product = (total or modulus) * 2 % (modulus + 1)
    return ALPHABET[(1 - product) % modulus]


def own_code(letter: str, number: int) -> str:
    """The printed own code for a kind and a number.

    Args:
        letter: first letter of the kind, see `Kind`.
        number: running number, 1 or more.

    Returns:
        For instance "T000012H".

    Raises:
        ValueError: no such kind, or a number out of range.
    """
    return OwnCode(_kind(letter), number).text


def read_own_code(text: str) -> OwnCode:
    """Read an own code back from a scan or from the keyboard.

    Small letters count as capitals and spaces around the code are ignored. Nothing else is mended: letter O
    is not digit 0, letter I is not digit 1.

    Args:
        text: what was scanned or typed.

    Returns:
        The kind and the number.

    Raises:
        ValueError: another shape, an unknown kind or a check character that does not fit; the sentence is
            for the person who scanned.
    """
    code = text.strip()
    match = _SHAPE.fullmatch(code.upper()) if code.isascii() else None
    if match is None:
        raise ValueError(
            f"Cannot read the code: it is {code[:30]!r}, must be one letter, {LEAST_DIGITS} to {MOST_DIGITS}"
            f" digits and a check character. {AGAIN}"
        )
    letter, digits, found = match.groups()
    expected = check_character(letter + digits)
    if found != expected:
        raise ValueError(
            f"Cannot read the code {match[0]}: its check character is {found}, must be {expected}. {AGAIN}"
        )
    read = OwnCode(_kind(letter), int(digits))
    if read.text != match[0]:
        raise ValueError(
            f"Cannot read the code {match[0]}: it has too many zeros, must be {read.text}. {AGAIN}"
        )
    return read


def _kind(letter: str) -> Kind:
    if letter not in list(Kind):
        raise ValueError(f"Cannot use the code: its letter is {letter}, must be one of {', '.join(Kind)}.")
    return Kind(letter)
