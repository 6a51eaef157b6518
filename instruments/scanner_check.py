"""The scanner card: what a scanner must make of it, and which fault of its set-up another reading shows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from instruments.carriers import GS, shown
from journal.findings import Finding, Severity

CARD = "(01)09504000059118(21)yzYZ-/aB(8010)9504000#7"
"""What the card's GS1 symbol holds: a field of variable length followed by another, both cases, and y z - / #."""
SENT = f"010950400005911821yzYZ-/aB{GS}80109504000#7"
"""The same as a scanner must send it, with the separator that a scanner with a wrong set-up loses in silence."""

MEAN_MS = 35.0
LONGEST_MS = 60.0
LONGEST_TEXT = 200
LONGEST_SEPARATOR = 6  # what a scanner may send in its place: "<GS>", "^]", "\\x1d"
ALIKE = 0.6  # of the card's characters; a reading with fewer is another mark
ENDS = ("enter", "tab", "line feed", "")

_HEAD, _TAIL = SENT.split(GS)
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9]")
_PLAIN = _HEAD + _TAIL


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of scanning the card, as the page saw its keys.

    Args:
        text: the characters, without the key at the end.
        ended: the key at the end: "enter", "tab", "line feed", or empty for none.
        mean_ms: mean time from key to key [ms]; None when it was not measured.
        longest_ms: longest of these times [ms]; None when it was not measured.
        caps_lock: Caps Lock was on.

    Raises:
        ValueError: a text that is too long, an unknown end, or a negative time.
    """

    text: str
    ended: str = "enter"
    mean_ms: float | None = None
    longest_ms: float | None = None
    caps_lock: bool = False

    def __post_init__(self) -> None:
        if len(self.text) > LONGEST_TEXT:
            raise ValueError(
                f"Cannot check the scanner: the reading has {len(self.text)} characters, must have {LONGEST_TEXT}."
            )
        if self.ended not in ENDS:
            raise ValueError(f"Cannot check the scanner: the reading ends with {self.ended!r}, must be one of {ENDS}.")
        if any(time is not None and not time >= 0 for time in (self.mean_ms, self.longest_ms)):
            raise ValueError("Cannot check the scanner: a time between keys is not recorded, must be 0 ms or more.")


def faults(reading: Reading) -> tuple[Finding, ...]:
    """Which faults of the scanner or its station the reading shows.

    Args:
        reading: of the scanner card.

    Returns:
        Stops, one for each fault; empty when the scanner can be trusted. A symbology identifier in front counts
        for nothing.

    Source:
        GS1 General Specifications, 7.8: the separator is sent as <GS>. ISO/IEC 15424: symbology identifiers. Limits
        of time as at every scan: our own.
    """
    text = reading.text.strip(" \r\n\t")
    if match := _SYMBOLOGY.match(text):
        text = text[match.end() :]
    separator = _separator(text)
    if separator is None:
        return (_other_mark(text),)
    found = text[: len(_HEAD)] + text[len(_HEAD) + len(separator) :]
    return (*_separator_faults(separator), *_character_faults(found, reading), *_key_faults(reading))


def _separator(text: str) -> str | None:
    """What stands where the separator must; None when the text is not the card at all."""
    extra = len(text) - len(_PLAIN)
    if not 0 <= extra <= LONGEST_SEPARATOR:
        return None
    found = text[: len(_HEAD)] + text[len(_HEAD) + extra :]
    alike = sum(a.lower() == b.lower() for a, b in zip(found, _PLAIN, strict=True))
    return text[len(_HEAD) : len(_HEAD) + extra] if alike >= ALIKE * len(_PLAIN) else None


def _other_mark(text: str) -> Finding:
    found = f"it read {shown(text)!r}" if text else "nothing was read"
    same = sum(a.lower() == b.lower() for a, b in zip(text, _PLAIN, strict=False))
    if same >= ALIKE * len(_PLAIN):
        count = len(text.replace(GS, ""))
        return _fault(
            "characters-lost",
            f"it read {count} of the {len(_PLAIN)} characters of the card",
            "read all",
            "Set the scanner to send more slowly, or move it nearer to its receiver.",
        )
    return _fault("other-mark", found, "read the scanner card", "Scan the symbol on the scanner card.")


def _separator_faults(separator: str) -> Iterator[Finding]:
    if separator == GS:
        return
    remedy = "Set the scanner to send the separator (GS, FNC1) as the key F8."
    if not separator:
        yield _fault("separator-missing", "the separator between two fields is lost", "be sent", remedy)
    else:
        found = f"the separator between two fields is sent as {shown(separator)!r}"
        yield _fault("separator-wrong", found, "be sent as the key F8", remedy)


def _character_faults(found: str, reading: Reading) -> Iterator[Finding]:
    wrong = {right: seen for right, seen in zip(_PLAIN, found, strict=True) if right != seen}
    turned = {right for right, seen in wrong.items() if seen == right.swapcase()}
    if turned:
        yield _fault(
            "caps-lock",
            "capital and small letters are exchanged",
            "arrive as printed",
            "Release Caps Lock on the keyboard of this station, and switch off Caps Lock in the scanner.",
        )
    elif reading.caps_lock:
        yield _fault("caps-lock", "Caps Lock is on", "be off", "Release Caps Lock on the keyboard of this station.")
    others = [(right, seen) for right, seen in wrong.items() if right not in turned]
    if others:
        named = ", ".join(f"{right} arrives as {shown(seen)}" for right, seen in others)
        remedy = f"Set the scanner to the US keyboard{_layout(dict(others))}."
        yield _fault("keyboard-layout", f"the keyboard layout is another: {named}", "be the US layout", remedy)


def _layout(wrong: dict[str, str]) -> str:
    """Which layout the exchanged letters speak for, as an aside."""
    pairs = {(right.lower(), seen.lower()) for right, seen in wrong.items()}
    if {("y", "z"), ("z", "y")} & pairs:
        return "; it seems to be set to a German one (QWERTZ)"
    if {("a", "q"), ("z", "w")} & pairs:
        return "; it seems to be set to a French one (AZERTY)"
    return ""


def _key_faults(reading: Reading) -> Iterator[Finding]:
    if reading.ended != "enter":
        found = f"the scan ends with {reading.ended}" if reading.ended else "the scan ends with no key"
        yield _fault("no-enter", found, "end with Enter", "Set the scanner's suffix to Enter (CR).")
    for slug, name, time, limit in (
        ("too-slow", "the mean time from key to key", reading.mean_ms, MEAN_MS),
        ("gaps", "the longest time from key to key", reading.longest_ms, LONGEST_MS),
    ):
        if time is not None and time > limit:
            remedy = "Set the scanner to send without delay between characters; type nothing while it sends."
            yield _fault(slug, f"{name} is {time:.0f} ms", f"be at most {limit:.0f} ms", remedy)


def _fault(slug: str, found: str, expected: str, remedy: str) -> Finding:
    sentence = f"Cannot trust the scanner: {found}, must {expected}."
    return Finding(slug, Severity.STOP, "scanner", sentence, remedy)
