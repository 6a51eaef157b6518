"""Health Industry Bar Code of suppliers: primary, secondary and combined marks, with their check character."""

from __future__ import annotations

import re

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
from journal.findings import Finding, Severity, stops

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
"""Characters of a mark, each worth its place (HIBC Supplier Labeling Standard 2.6; the table of Code 39)."""

DATE_ORDERS = {"2": "MMDDYY", "3": "YYMMDD", "4": "YYMMDDHH", "5": "YYJJJ", "6": "YYJJJHH"}
"""Order of the digits after each date flag; a flag 0 or 1 is itself the first digit of MMYY, 7 is no date."""
MONTH_YEAR = "MMYY"
NO_DATE = "7"
QUANTITY_DIGITS = {"8": 2, "9": 5}
OLD_DATE = "YYJJJ"
LONGEST_NUMBER = 18  # characters of a lot or serial
LONG_DATES = {"16D": "production", "14D": "expiry"}
LONG_DATE = "YYYYMMDD"

_PRIMARY = re.compile(r"\+([A-Z][0-9A-Z]{3})([0-9A-Z]{1,18})([0-9])")
_SECONDARY = re.compile(r"\+(\$.*|[0-9]{5}.*)(.)")
_SHORT = re.compile(r"\$(\$?)(\+?)(.*)|([0-9]{5})(.*)")
_FAMILY = re.compile(r"\+\+([A-Z][0-9A-Z]{3}.*)")

_PAIR_ALPHABET = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_PAIR_VALUES = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
_PAIR_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83)
_PAIR_MODULUS = 1021


def check_character(body: str) -> str:
    """Check character of a mark: the sum of all characters before it, modulo 43.

    Args:
        body: the mark from its leading plus, without the check character.

    Returns:
        One character of `ALPHABET`; it may be a space.

    Raises:
        ValueError: a character outside the alphabet.

    Source:
        HIBC Supplier Labeling Standard 2.6, appendix on the modulo 43 check character.
    """
    return ALPHABET[sum(ALPHABET.index(character) for character in body) % len(ALPHABET)]


def check_pair(body: str) -> str:
    """Check pair of a device family's number (Basic UDI-DI): characters weighted by primes, modulo 1021.

    Args:
        body: the number from its leading pluses, at most 23 characters, without the pair.

    Returns:
        Two characters.

    Raises:
        ValueError: a character outside the set, or more than 23 of them.

    Source:
        GS1 General Specifications, check character pair of the Global Model Number; HIBC uses the same.
    """
    if len(body) > len(_PAIR_PRIMES):
        raise ValueError(f"The number has {len(body)} characters, must have at most {len(_PAIR_PRIMES)}.")
    weights = reversed(_PAIR_PRIMES[: len(body)])
    total = sum(prime * _PAIR_VALUES.index(character) for prime, character in zip(weights, body, strict=True))
    return "".join(_PAIR_ALPHABET[place] for place in divmod(total % _PAIR_MODULUS, len(_PAIR_ALPHABET)))


def read(text: str) -> Decoded:
    """Read a mark that begins with a plus.

    A space as check character counts when it stands there, or as the underscore that print shows for it.
    Asterisks around a printed mark are not data.

    Args:
        text: the mark, with its trailing spaces.

    Returns:
        Identifiers "lic" (labeler), "reference" (catalogue number), "unit_of_measure", "lot", "serial",
        "quantity", "expiry", "expiry_time", "production", "link"; those that can be read even when the check
        character does not fit.
    """
    body = text.strip().strip("*")
    outside = next((character for character in body.removesuffix("_") if character not in ALPHABET), None)
    if outside:
        found = f"it holds {shown(outside)!r}"
        expected = "hold only digits, capital letters and - . $ / + % or a space"
        stop = unreadable(body, found, expected, "foreign-character")
        return Decoded(Scheme.HIBC, {}, text_key(body), (stop,))
    if _FAMILY.fullmatch(body):
        return _family(body)
    spaced = body.endswith("_") or text.rstrip("\r\n\t").endswith(" ")
    data, failure = _without_check(body, spaced=spaced)
    identifiers: dict[str, str] = {}
    findings = _fill(identifiers, data, body)
    if failure:
        return Decoded(Scheme.HIBC, identifiers, text_key(body), (failure,))
    return Decoded(Scheme.HIBC, identifiers, _key(identifiers, findings) or text_key(body), tuple(findings))


def _without_check(body: str, *, spaced: bool) -> tuple[str, Finding | None]:
    data, found, whole = body[:-1], body[-1:], body.removesuffix("_")
    if found == check_character(data):
        return data, None
    if check_character(whole) != " ":
        expected = check_character(data).replace(" ", "a space")
        found = f"its check character is {found}"
        return data, unreadable(body, found, f"be {expected}", "check-character-failure")
    if spaced:
        return whole, None
    failure = unreadable(
        body,
        "its check character seems to be a space that was lost",
        "end with that space",
        "check-character-failure",
        "Scan it again with a field that keeps spaces, or type an underscore in its place.",
    )
    return whole, failure


def _fill(identifiers: dict[str, str], data: str, text: str) -> list[Finding]:
    first, *segments = data.split("/")
    primary, secondary = _PRIMARY.fullmatch(first), _SECONDARY.fullmatch(data)
    if primary:
        identifiers.update(lic=primary[1], reference=primary[2], unit_of_measure=primary[3])
    elif secondary:
        segments = secondary[1].split("/")
    else:
        return [unreadable(text, f"it begins {shown(first)!r}", "begin with a labeler and a catalogue number")]
    findings = [finding for segment in segments for finding in _segment(identifiers, segment, text)]
    if not primary and not stops(findings):
        findings.append(not_individual(text, f"only {listed(identifiers)}", "labeler and catalogue number"))
    elif "serial" not in identifiers and not stops(findings):
        findings.append(not_individual(text, listed(identifiers), "a serial"))
    if secondary:
        identifiers["link"] = secondary[2]
    return findings


def _segment(identifiers: dict[str, str], segment: str, text: str) -> list[Finding]:
    if segment[:3] in LONG_DATES:
        return _date(identifiers, LONG_DATES[segment[:3]], LONG_DATE, segment[3:], text)
    if short := _SHORT.fullmatch(segment):
        return _short(identifiers, short, text)
    if segment[:1] == "S" and len(segment) > 1:
        return _number(identifiers, "serial", segment[1:], text)
    if segment[:1] == "Q" and segment[1:].isdecimal():
        return put(identifiers, "quantity", str(int(segment[1:])), text)
    return [unreadable(text, f"a part of it is {shown(segment)!r}", "be lot, serial, date or quantity")]


def _short(identifiers: dict[str, str], short: re.Match[str], text: str) -> list[Finding]:
    dated, serial, rest, old_date, old_lot = short.groups()
    if old_date:
        return _date(identifiers, "expiry", OLD_DATE, old_date, text) + _number(identifiers, "lot", old_lot, text)
    findings: list[Finding] = []
    if dated:
        digits = QUANTITY_DIGITS.get(rest[:1], 0)
        if digits:
            quantity, rest = rest[1 : 1 + digits], rest[1 + digits :]
            if len(quantity) < digits or not quantity.isdecimal():
                return [unreadable(text, f"its quantity is {quantity!r}", f"be {digits} digits")]
            findings += put(identifiers, "quantity", str(int(quantity)), text)
        if rest or not digits:
            dates, rest = _flagged_date(identifiers, rest, text)
            findings += dates
    return findings + _number(identifiers, "serial" if serial else "lot", rest, text)


def _flagged_date(identifiers: dict[str, str], rest: str, text: str) -> tuple[list[Finding], str]:
    flag = rest[:1]
    if flag == NO_DATE:
        return [], rest[1:]
    if flag in DATE_ORDERS:
        order, rest = DATE_ORDERS[flag], rest[1:]
    elif flag in ("0", "1"):
        order = MONTH_YEAR
    else:
        return [unreadable(text, f"its date flag is {flag!r}", "be a digit from 0 to 7")], ""
    findings = _date(identifiers, "expiry", order, rest[: len(order)], text)
    if order == MONTH_YEAR and not findings:
        sentence = f"The mark gives month and year only; it is read as {identifiers['expiry']}."
        findings = [Finding("month-only", Severity.NOTE, shown(text), sentence)]
    return findings, rest[len(order) :]


def _date(identifiers: dict[str, str], name: str, order: str, digits: str, text: str) -> list[Finding]:
    full = len(digits) == len(order) and digits.isdecimal()
    read_as = date_of(order, digits) if full else None
    if read_as is None:
        return [no_date(text, name, digits, order)]
    findings = put(identifiers, name, read_as[0], text)
    if read_as[1]:
        identifiers[f"{name}_time"] = read_as[1]
    return findings


def _number(identifiers: dict[str, str], name: str, value: str, text: str) -> list[Finding]:
    if len(value) > LONGEST_NUMBER:
        return [unreadable(text, f"its {name} has {len(value)} characters", f"have at most {LONGEST_NUMBER}")]
    return put(identifiers, name, value, text)


def _family(body: str) -> Decoded:
    data, found = body[:-2], body[-2:]
    identifiers = {"model": body}
    try:
        expected = check_pair(data)
    except ValueError:
        failure = unreadable(body, f"it has {len(body)} characters", "have at most 25")
        return Decoded(Scheme.HIBC, identifiers, text_key(body), (failure,))
    if found != expected:
        failure = unreadable(body, f"its check pair is {found}", f"be {expected}", "check-character-failure")
        return Decoded(Scheme.HIBC, identifiers, text_key(body), (failure,))
    family = f"a family of devices ({body})"
    return Decoded(
        Scheme.HIBC,
        identifiers,
        text_key(body),
        (not_individual(body, family, "labeler, catalogue number and serial"),),
    )


def _key(identifiers: dict[str, str], findings: list[Finding]) -> str | None:
    if "lic" not in identifiers or stops(findings):
        return None
    key = f"hibc:{identifiers['lic']}{identifiers['reference']}"
    if "serial" in identifiers:
        return f"{key}/S{identifiers['serial']}"
    return f"{key}/${identifiers['lot']}" if "lot" in identifiers else key
