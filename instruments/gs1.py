"""GS1 marks: element strings as scanned, the same in brackets, Digital Links and bare item numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date

from biip import ParseConfig, ParseError
from biip.checksums import gs1_standard_check_digit
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_element_strings import GS1ElementString

from instruments.carriers import (
    GS,
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

NAMES = {
    "00": "sscc",
    "01": "gtin",
    "02": "content_gtin",
    "10": "lot",
    "20": "variant",
    "21": "serial",
    "30": "quantity",
    "37": "quantity",
    "235": "third_party_serial",
    "240": "additional_id",
    "241": "customer_part_number",
    "250": "secondary_serial",
    "414": "gln",
    "8004": "giai",
    "8006": "itip",
    "8013": "model",
}
"""What each application identifier (AI) is called here; any other goes by "ai_" and its digits."""

DATES = {
    "11": ("production", "YYMMDD"),
    "12": ("due", "YYMMDD"),
    "13": ("packaging", "YYMMDD"),
    "15": ("best_before", "YYMMDD"),
    "16": ("sell_by", "YYMMDD"),
    "17": ("expiry", "YYMMDD"),
    "7003": ("expiry", "YYMMDDHHNN"),
    "7011": ("test_by", "YYMMDDHHNN"),
    "8008": ("production", "YYMMDDHHNNSS"),
}
"""AIs that hold a date, and the order of its digits; the time of day may be cut short."""
DATE_DIGITS = 6
LAST_DAY = "00"  # GS1 General Specifications, 3.4: day 00 is the last day of the month

CHECKED = {
    "00": 18, "01": 14, "02": 14, "03": 14, "253": 13, "255": 13, "8003": 14, "8006": 14, "8017": 18, "8018": 18,
} | {f"41{digit}": 13 for digit in range(8)}  # fmt: skip
"""Leading digits of each AI's value that end with a check digit."""
DOUBTFUL = ("8003",)
"""AIs whose check digit is only worth a look: asset numbers with another digit are in circulation."""
BARE = {8: "gtin", 12: "gtin", 13: "gtin", 14: "gtin", 18: "sscc"}
"""Lengths of the item numbers that stand in a symbol without AI."""
SURE_LENGTHS = (13, 14, 18)
GTIN_DIGITS = 14
GRAI_DIGITS = 14  # a leading 0, then the 13 digits of the asset type

ATTRIBUTES = {"grai", *NAMES.values(), *(name for name, _ in DATES.values())}
"""What says something of an instrument, though most of it does not name one piece."""
TELLING = {"8004", "7007", *CHECKED, *DATES}
"""AIs that show a text of digits and letters to be a GS1 mark: keys, and dates (7007 is a harvest date)."""

_CONFIG = ParseConfig(gs1_element_strings_verify_date=False)
_BRACKETS = re.compile(r"[(\[{]([0-9]{2,4})[)\]}]")
_LINK = re.compile(r"(?i:https?)://[^/]+/(?:.*/)?(?:00|01|8003|8004|8006)/[^/?#]+")
_PRINTED_KEY = re.compile(
    r"gs1:(?P<fixed>00[0-9]{18}|01[0-9]{14})?(?:(?P<ai>10|21|8003|8004)(?P<value>[!\"%-'*-?A-Z_a-z]{1,30}))?"
)  # of the 82 characters of GS1, without the brackets that set identifiers off
_LATE_DATE = re.compile(r".+(?:11|13|15|16|17)([0-9]{6})")


def read(text: str, *, flagged: bool = False, retail: bool = False) -> Decoded | None:
    """Read a GS1 mark; brackets, Digital Links and element strings are told apart by their first characters.

    Without a flag a text counts as GS1 only when it holds a key (item, asset, logistic unit) or a date, so that
    the unit's own numbers are not taken for lots.

    Args:
        text: the mark without spaces at its ends and without symbology identifier.
        flagged: the symbology identifier or a separator says that this is a GS1 mark.
        retail: the symbology identifier says that this is a bare item number.

    Returns:
        What it says, or None when this is no GS1 mark.
    """
    if _LINK.match(text):
        return _interpreted(text, *_from_link(text))
    if _BRACKETS.match(text):
        return _interpreted(text, *_from_brackets(text))
    if text[:1].isdigit() and not retail:
        elements, findings = _from_elements(text)
        telling = any(element.ai.ai in TELLING for element in elements)
        if flagged or telling or any(finding.slug == "separator-suspect" for finding in findings):
            return _interpreted(text, elements, findings)
    if flagged:
        failure = unreadable(text, f"it begins {shown(text[:4])!r}", "begin with a GS1 application identifier")
        return Decoded(Scheme.GS1, {}, text_key(text), (failure,))
    return _bare(text, sure=retail)


Parsed = tuple[list[GS1ElementString], list[Finding]]


def _from_elements(text: str) -> Parsed:
    elements: list[GS1ElementString] = []
    rest = text.strip(GS)
    while rest:
        try:
            element = GS1ElementString.extract(rest, config=_CONFIG)
        except ParseError:
            return elements, [_no_element(text, rest)]
        elements.append(element)
        rest = rest[len(element) :]
        if rest and element.ai.separator_required and not rest.startswith(GS):
            found = f"after {element.ai} {element.value} it holds {shown(rest)!r}"
            return elements, [unreadable(text, found, "hold a separator (U+001D) there", "separator-missing")]
        rest = rest.lstrip(GS)
    return elements, _suspects(text, elements)


def _suspects(text: str, elements: list[GS1ElementString]) -> list[Finding]:
    if GS in text or elements[-1].ai.ai not in ("10", "21"):
        return []
    last = elements[-1]
    late = _LATE_DATE.fullmatch(last.value)
    if late is None or _date("YYMMDD", late[1]) is None:
        return []
    name = NAMES[last.ai.ai]
    sentence = (
        f"The {name} {last.value} ends like a further date ({last.value[-8:]}), and the mark holds no separator:"
        " one may have been lost."
    )
    remedy = f"Compare the {name} with the print; have the scanner checked with the scanner card."
    return [Finding("separator-suspect", Severity.LOOK, shown(text), sentence, remedy)]


def _from_brackets(text: str) -> Parsed:
    elements: list[GS1ElementString] = []
    _, *pieces = _BRACKETS.split(text)
    for identifier, value in zip(pieces[::2], pieces[1::2], strict=True):
        bare = value.strip().strip(GS)
        try:
            element = GS1ElementString.parse(f"{identifier}{bare}", config=_CONFIG)
        except ParseError:
            return elements, [_no_element(text, f"({identifier}){bare}")]
        if element.ai.ai != identifier:
            return elements, [_no_element(text, f"({identifier}){bare}")]
        elements.append(element)
    return elements, []


def _from_link(text: str) -> Parsed:
    try:
        return list(GS1DigitalLinkURI.parse(text, config=_CONFIG).element_strings), []
    except (ParseError, ValueError):
        return [], [_no_element(text, text)]


def _no_element(text: str, found: str) -> Finding:
    expected = "hold a GS1 application identifier and its data"
    return unreadable(text, f"it holds {shown(found)!r}", expected)


def _interpreted(text: str, elements: Iterable[GS1ElementString], findings: list[Finding]) -> Decoded:
    identifiers: dict[str, str] = {}
    problems = list(findings)
    for element in elements:
        values, problem = _values(element, text)
        problems += problem
        for name, value in values.items():
            problems += put(identifiers, name, value, text)
    if stops(problems):
        return Decoded(Scheme.GS1, identifiers, text_key(text), tuple(problems))
    problems += _identifying(text, identifiers)
    return Decoded(Scheme.GS1, identifiers, _key(identifiers) or text_key(text), tuple(problems))


def printed(key: str, *, expires: date | None = None) -> str:
    """What a GS1 symbol of our own says of a mark: fields of fixed length first, the one of variable length last.

    So the symbol holds no separator that a scanner could lose.

    Args:
        key: of a mark, as `read` gives it.
        expires: the maker's last day of use; it can stand only beside an item number.

    Returns:
        An element string in brackets, "(01)09504000059118(17)280131(21)A1"; empty when the key is none that can
        be written so.

    Source:
        GS1 General Specifications: fixed-length table, and the pairing of (17) with (01). From memory.
    """
    match = _PRINTED_KEY.fullmatch(key)
    if match is None or not (match["fixed"] or match["ai"]):
        return ""
    fixed = match["fixed"] or ""
    shown_as = f"({fixed[:2]}){fixed[2:]}" if fixed else ""
    if expires is not None and fixed.startswith("01"):
        shown_as += f"(17){expires:%y%m%d}"
    return shown_as + (f"({match['ai']}){match['value']}" if match["ai"] else "")


def _identifying(text: str, identifiers: dict[str, str]) -> list[Finding]:
    held = identifiers.keys()
    if {"giai", "sscc"} & held or ("serial" in held and {"gtin", "grai"} & held):
        return []
    if ATTRIBUTES & held:
        missing = "an item number (01)" if "serial" in held else "a serial"
        return [not_individual(text, listed(identifiers), missing)]
    found = f"it holds only {listed(identifiers)}, which says nothing of an instrument"
    expected = "hold an item number with serial (01 and 21) or an asset number (8003, 8004)"
    return [unreadable(text, found, expected, "not-an-instrument", "Scan another mark of the piece.")]


def _key(identifiers: Mapping[str, str]) -> str | None:
    serial = identifiers.get("serial")
    if "giai" in identifiers:
        return f"gs1:8004{identifiers['giai']}"
    if "grai" in identifiers:
        return f"gs1:80030{identifiers['grai']}{serial or ''}"
    if "sscc" in identifiers:
        return f"gs1:00{identifiers['sscc']}"
    if "gtin" not in identifiers:
        return None
    item = f"8006{identifiers['itip']}" if "itip" in identifiers else f"01{identifiers['gtin']}"
    if serial:
        return f"gs1:{item}21{serial}"
    return f"gs1:{item}10{identifiers['lot']}" if "lot" in identifiers else f"gs1:{item}"


def _values(element: GS1ElementString, text: str) -> tuple[dict[str, str], list[Finding]]:
    ai, value = element.ai.ai, element.value
    if ai in DATES:
        name, order = DATES[ai]
        read_as = _date(order[: len(value)], value)
        if read_as is None:
            return {}, [no_date(text, name, value, order[: len(value)])]
        return {name: read_as[0]} | ({f"{name}_time": read_as[1]} if read_as[1] else {}), []
    return _named(ai, value), _check_digit(ai, value, text)


def _named(ai: str, value: str) -> dict[str, str]:
    if ai == "8003":
        serial = value[GRAI_DIGITS:]
        return {"grai": value[1:GRAI_DIGITS]} | ({"serial": serial} if serial else {})
    if ai == "8006":
        return {"itip": value, "gtin": value[:GTIN_DIGITS]}
    return {NAMES.get(ai, f"ai_{ai}"): value}


def _check_digit(ai: str, value: str, text: str) -> list[Finding]:
    if ai not in CHECKED:
        return []
    number = value[: CHECKED[ai]]
    expected = gs1_standard_check_digit(number[:-1])
    if int(number[-1]) == expected:
        return []
    if ai not in DOUBTFUL:
        return [_wrong_digit(text, number, expected)]
    sentence = f"The check digit of {number} is {number[-1]}, by the rule it is {expected}."
    remedy = "Compare the number with the print."
    return [Finding("check-digit-failure", Severity.LOOK, shown(text), sentence, remedy)]


def _wrong_digit(text: str, number: str, expected: int) -> Finding:
    found = f"the check digit of {number} is {number[-1]}"
    return unreadable(text, found, f"be {expected}", "check-digit-failure")


def _date(order: str, digits: str) -> tuple[str, str] | None:
    if digits[4:DATE_DIGITS] == LAST_DAY:
        order, digits = order[:4] + order[DATE_DIGITS:], digits[:4] + digits[DATE_DIGITS:]
    return date_of(order, digits)


def _bare(text: str, *, sure: bool) -> Decoded | None:
    name = BARE.get(len(text))
    if name is None or not (text.isascii() and text.isdigit()):
        return None
    expected = gs1_standard_check_digit(text[:-1])
    if int(text[-1]) != expected:
        if not sure and len(text) not in SURE_LENGTHS:
            return None
        return Decoded(Scheme.GS1, {}, text_key(text), (_wrong_digit(text, text, expected),))
    identifiers = {name: text.zfill(GTIN_DIGITS)}
    return Decoded(
        Scheme.GS1, identifiers, _key(identifiers) or text_key(text), tuple(_identifying(text, identifiers))
    )
