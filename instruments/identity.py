"""Marks as text: our own codes, and what any scanned or typed mark says.

The standards stand in `gs1`, `hibc` and `iccbba`; what they share in `carriers`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from enum import StrEnum

from instruments import gs1, hibc, iccbba
from instruments.carriers import GS, NOT_INDIVIDUAL, Decoded, Scheme, listed, shown, text_key, unreadable
from journal.findings import Finding, Severity, stops

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""Characters of ISO/IEC 7064 MOD 37,36, each worth its place."""

LEAST_DIGITS = 6
MOST_DIGITS = 12

LONGEST_MARK = 200
"""Characters of a mark at most; the longest UDI of the four formats that the FDA lists has 79."""
LONGEST_PLAIN = 60
"""Characters of a plain text at most, as engraved on an instrument."""

_SHAPE = re.compile(rf"([A-Z])([0-9]{{{LEAST_DIGITS},{MOST_DIGITS}}})([0-9A-Z])")
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_GS1_SYMBOLOGIES = ("]C1", "]d2", "]Q3", "]e0", "]J1")  # ISO/IEC 15424: GS1-128, DataMatrix, QR, DataBar, DotCode
_RETAIL_SYMBOLOGIES = ("]E0", "]E4", "]I1")  # ISO/IEC 15424: EAN-13 and UPC, EAN-8, ITF-14
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
    LOAN = "A"
    COMMAND = "D"
    RECALL = "R"
    NONCONFORMITY = "Q"
    BOX = "H"

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
        raise ValueError(f"Cannot read the code {match[0]}: it has too many zeros, must be {read.text}. {AGAIN}")
    return read


def _kind(letter: str) -> Kind:
    if letter not in list(Kind):
        raise ValueError(f"Cannot use the code: its letter is {letter}, must be one of {', '.join(Kind)}.")
    return Kind(letter)


def decode(text: str) -> Decoded:
    """What a scanned or typed mark says, in whichever scheme it is written.

    Spaces at the ends do not count (save where a space is the check character), nor does a symbology
    identifier that the scanner puts in front. Nothing else is mended: what looks wrong is said in a finding.
    Whether the mark is known, and whether it is what the step at hand asks for, is for others to judge.

    Args:
        text: what the scanner or the keyboard gave; any text at all.

    Returns:
        Scheme, identifiers, the key to store and find the mark by, and findings.

    Source:
        GS1 General Specifications; HIBC Supplier Labeling Standard 2.6; FDA, UDI formats by issuing agency 1.3;
        ISO/IEC 15424 for symbology identifiers; ISO/IEC 7064 for the check character of own codes.
    """
    bare = text.strip()
    symbology = match[0] if (match := _SYMBOLOGY.match(bare)) else ""
    bare = bare[len(symbology) :].strip()
    if not bare:
        return _unknown(text, unreadable(text, "it is empty", "hold at least one character", "empty"))
    if len(bare) > LONGEST_MARK:
        found = f"it has {len(bare)} characters"
        return _unknown(text, unreadable(text, found, f"have at most {LONGEST_MARK}", "too-long"))
    foreign = next((place for place, character in enumerate(bare) if not _is_plain(character)), None)
    if foreign is not None:
        return _broken_off(bare, foreign, symbology)
    if bare.startswith(("+", "*+")):
        return hibc.read(text.lstrip()[len(symbology) :])
    if bare.startswith(("=", "&")):
        return iccbba.read(bare)
    return _gs1(text, bare, symbology) or _own(bare) or _plain(bare)


def mark_key(text: str) -> str:
    """The canonical text under which a mark is stored and found.

    Args:
        text: what the scanner or the keyboard gave.

    Returns:
        An own code in capitals; "gs1:", "hibc:" or "iccbba:" with the part that identifies; for any other mark,
        and for one that has a stop, "text:" with the text in capitals. Two readings of the same mark, with or
        without symbology identifier, brackets, dates or link, give the same key.
    """
    return decode(text).key


def same_device(carrier_text: str, readable_text: str) -> tuple[Finding, ...]:
    """Whether the symbol and the print of one label describe the same device.

    Args:
        carrier_text: what the scanner read from the symbol.
        readable_text: the print beside it, as typed.

    Returns:
        Empty when they agree. Every stop of either reading, a stop for each identifier that differs, and a look
        for each that only one of them holds.
    """
    carrier, readable = decode(carrier_text), decode(readable_text)
    findings = [*stops(carrier.findings), *stops(readable.findings)]
    if carrier.scheme is not readable.scheme:
        findings.append(_differs(carrier_text, "scheme", carrier.scheme, readable.scheme))
    for name in dict.fromkeys([*carrier.identifiers, *readable.identifiers]):
        scanned, printed = carrier.identifiers.get(name), readable.identifiers.get(name)
        if scanned and printed and scanned != printed:
            findings.append(_differs(carrier_text, name, scanned, printed))
        elif scanned != printed:
            side, value = ("symbol", scanned) if scanned else ("print", str(printed))
            sentence = f"Only the {side} of the label gives {listed({name: value})}."
            findings.append(Finding("one-sided", Severity.LOOK, shown(carrier_text), sentence))
    return tuple(findings)


def why_not_mark_a_piece(text: str) -> tuple[Finding, ...]:
    """What forbids to register a text as the mark of one piece; empty when nothing does.

    Args:
        text: what the scanner or the keyboard gave.

    Returns:
        Stops: the mark cannot be read, names a kind or a lot only, or is one of our own codes.
    """
    decoded = decode(text)
    found = stops(decoded.findings)
    if decoded.scheme is Scheme.OWN and not found:
        sentence = f"Cannot put the mark {decoded.key} on a piece: it is our own code of a"
        sentence += f" {decoded.identifiers['kind']}, must be a mark of its maker."
        return (Finding("own-code", Severity.STOP, decoded.key, sentence, "Scan the maker's mark."),)
    looks = (finding for finding in decoded.findings if finding.slug == NOT_INDIVIDUAL)
    return found + tuple(replace(finding, severity=Severity.STOP) for finding in looks)


def wrong_kind(decoded: Decoded, wanted: Kind) -> tuple[Finding, ...]:
    """Whether an own code stands on another kind of thing than the step asks for.

    Args:
        decoded: what was scanned; a mark that is no own code is not judged.
        wanted: the kind that the step asks for.

    Returns:
        Empty, or one stop.
    """
    kind = decoded.identifiers.get("kind", wanted.word)
    if decoded.scheme is not Scheme.OWN or kind == wanted.word:
        return ()
    sentence = f"Cannot take {decoded.key} here: it is a {kind}, must be a {wanted.word}."
    return (Finding("wrong-kind", Severity.STOP, decoded.key, sentence, f"Scan the {wanted.word}."),)


def _is_plain(character: str) -> bool:
    return " " <= character <= "~" or character == GS or character.isalnum()


def _unknown(text: str, finding: Finding) -> Decoded:
    return Decoded(Scheme.UNKNOWN, {}, text_key(text), (finding,))


def _broken_off(bare: str, place: int, symbology: str) -> Decoded:
    """A mark that holds a character no mark can hold: what stands before it is read, and nothing is trusted."""
    foreign = bare[place]
    name = unicodedata.name(foreign, "no printed character")
    found = f"character {place + 1} is U+{ord(foreign):04X} ({name})"
    expected = "be a letter, a digit, a sign of the keyboard or the separator U+001D"
    remedy = "Check the scanner with the scanner card, then scan again."
    finding = unreadable(bare, found, expected, "foreign-character", remedy)
    before = gs1.read(bare[:place], flagged=symbology in _GS1_SYMBOLOGIES)
    if before is None:
        return _unknown(bare, finding)
    return Decoded(Scheme.GS1, before.identifiers, text_key(bare), (finding, *stops(before.findings)))


def _gs1(text: str, bare: str, symbology: str) -> Decoded | None:
    flagged = symbology in _GS1_SYMBOLOGIES or GS in bare or text.lstrip(" ").startswith(GS)
    return gs1.read(bare, flagged=flagged, retail=symbology in _RETAIL_SYMBOLOGIES)


def _own(bare: str) -> Decoded | None:
    match = _SHAPE.fullmatch(bare.upper())
    if match is None or match[1] not in list(Kind):
        return None
    try:
        code = read_own_code(bare)
    except ValueError as refusal:
        sentence, remedy = str(refusal).removesuffix(AGAIN).strip(), AGAIN
        finding = Finding("check-character-failure", Severity.STOP, bare.upper(), sentence, remedy)
        return Decoded(Scheme.OWN, {}, text_key(bare), (finding,))
    return Decoded(Scheme.OWN, {"kind": code.kind.word, "number": str(code.number)}, code.text)


def _plain(bare: str) -> Decoded:
    if len(bare) > LONGEST_PLAIN:
        found = f"it follows no known standard and has {len(bare)} characters"
        return _unknown(bare, unreadable(bare, found, f"have at most {LONGEST_PLAIN}", "too-long"))
    sentence = "The mark follows none of the known standards; it is taken as plain text."
    return _unknown(bare, Finding("unknown-scheme", Severity.NOTE, shown(bare), sentence))


def _differs(text: str, name: str, scanned: str, printed: str) -> Finding:
    return Finding(
        "different-device",
        Severity.STOP,
        shown(text),
        f"Cannot trust the label: its symbol gives {listed({name: scanned})},"
        f" its print {listed({name: printed})}; they must agree.",
        "Set the piece aside and ask who supplied it.",
    )
