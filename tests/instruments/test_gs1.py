"""GS1 marks, against published vectors, the library's own tests and symbols that an outside reader reads."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
import zxingcpp
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_messages import GS1Message
from stdnum import ean

from instruments.carriers import Decoded, Scheme
from instruments.gs1 import printed
from instruments.identity import decode
from journal.findings import Severity


def slugs(decoded: Decoded) -> list[str]:
    return [finding.slug for finding in decoded.findings]


FDA = "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"
FDA_READ = {
    "gtin": "51022222233336",
    "production": "2014-12-31",
    "expiry": "2015-07-07",
    "lot": "A213B1",
    "serial": "1234",
}

VECTORS: list[tuple[str, dict[str, str]]] = [
    # FDA, UDI formats by issuing agency 1.3 (2017). Lot and serial stay apart: python-stdnum joins them.
    (FDA, FDA_READ),
    # FHIR R5, Device example-udi1, print (with its braces) and symbol (its separators put right).
    (
        "{01}00844588003288{17}141120{10}7654321D{21}10987654d321",
        {"gtin": "00844588003288", "expiry": "2014-11-20", "lot": "7654321D", "serial": "10987654d321"},
    ),
    (
        "]d201108576740020171714112010NYFUL01\x1d21192837\x1d713A1B2C3D4E5F6G",
        {
            "gtin": "10857674002017",
            "expiry": "2014-11-20",
            "lot": "NYFUL01",
            "serial": "192837",
            "ai_713": "A1B2C3D4E5F6G",
        },
    ),
    # biip's tests of element strings.
    (
        "010703206980498815210526100329",
        {"gtin": "07032069804988", "best_before": "2021-05-26", "lot": "0329"},
    ),
    ("10123\x1d17221231", {"lot": "123", "expiry": "2022-12-31"}),
    ("1722123110123", {"expiry": "2022-12-31", "lot": "123"}),
    ("800307071324001022085952", {"grai": "7071324001022", "serial": "085952"}),
    ("70110301021430", {"test_by": "2003-01-02", "test_by_time": "14:30"}),
    ("7011030102", {"test_by": "2003-01-02"}),
    ("8008000102141516", {"production": "2000-01-02", "production_time": "14:15:16"}),
    ("70030701021415", {"expiry": "2007-01-02", "expiry_time": "14:15"}),
    # Without separator all of it is one lot (GS1 General Specifications 7.8).
    ("1012317221231", {"lot": "12317221231"}),
    # Day 00 is the last day of the month (GS1 General Specifications 3.4; run with biip).
    ("17230200", {"expiry": "2023-02-28"}),
    ("17240200", {"expiry": "2024-02-29"}),
    ("17000100", {"expiry": "2000-01-31"}),
    # EPCIS example and epcpy: pairs of EPC URI and element string.
    ("(8004)4000001111", {"giai": "4000001111"}),
    ("80044000001111", {"giai": "4000001111"}),
    ("(8003)00614141123452400", {"grai": "0614141123452", "serial": "400"}),
    ("(01)10614141073464(21)2017", {"gtin": "10614141073464", "serial": "2017"}),
    # biip's manual of Digital Links.
    (
        "https://id.gs1.org/01/614141123452/10/ABC1/21/12345?17=180426",
        {"gtin": "00614141123452", "lot": "ABC1", "serial": "12345", "expiry": "2018-04-26"},
    ),
    (
        "HTTPS://ID.GS1.ORG/00/106141412345678908?02=00614141123452&37=25&10=ABC123",
        {"sscc": "106141412345678908", "content_gtin": "00614141123452", "quantity": "25", "lot": "ABC123"},
    ),
    # UDI samples: item numbers whose check digit holds, bare as in a retail symbol.
    ("51022222233336", {"gtin": "51022222233336"}),
    ("09504000059118", {"gtin": "09504000059118"}),
    ("]E07032069804988", {"gtin": "07032069804988"}),
    ("614141123452", {"gtin": "00614141123452"}),
    ("376130321109103420", {"sscc": "376130321109103420"}),
    # GS1 table of application identifiers: 8006 is item number, piece and count.
    ("(8006)510222222333360102(21)7", {"itip": "510222222333360102", "gtin": "51022222233336", "serial": "7"}),
]


@pytest.mark.parametrize(("text", "identifiers"), VECTORS)
def test_published_marks_read_as_stated(text: str, identifiers: dict[str, str]) -> None:
    decoded = decode(text)
    assert decoded.scheme is Scheme.GS1
    assert decoded.identifiers == identifiers
    assert not [finding for finding in decoded.findings if finding.severity is Severity.STOP]


@pytest.mark.parametrize(
    ("number", "digit"),
    [
        # GS1 member organisation's worked example (first), biip's tests (others).
        ("890400021003", "7"),
        ("629104150021", "3"),
        ("501234567890", "0"),
        ("703801005447", "1"),
        ("950110153100", "0"),
        ("708000382434", "9"),
        ("978820551237", "5"),
        ("37610425002123456", "9"),
    ],
)
def test_published_check_digits(number: str, digit: str) -> None:
    assert "check-digit-failure" not in slugs(decode(number + digit))
    for wrong in set("0123456789") - {digit}:
        decoded = decode(number + wrong)
        assert decoded.findings[0].sentence == (
            f"Cannot read the mark: the check digit of {number}{wrong} is {wrong}, must be {digit}."
        )


@pytest.mark.parametrize(
    ("text", "expected"),
    # biip's tests of numbers with a wrong digit, and the digit each must have.
    [
        ("0107032069804987", 8),
        ("07032069804987", 8),
        ("4141234567890127", 8),
        ("1234567890127", 8),
        ("00376130321109103421", 0),
        ("376130321109103421", 0),
    ],
)
def test_a_wrong_check_digit_stops(text: str, expected: int) -> None:
    finding = decode(text).findings[0]
    assert (finding.slug, finding.severity) == ("check-digit-failure", Severity.STOP)
    assert finding.sentence.endswith(f"must be {expected}.")


def test_check_digits_agree_with_python_stdnum() -> None:
    for body in range(400000000000, 400000000200):
        number = f"{body}{ean.calc_check_digit(str(body))}"
        assert decode(number).identifiers == {"gtin": f"0{number}"}


def test_an_asset_number_with_another_check_digit_is_worth_a_look() -> None:
    # The published asset number ends in 2; by the rule of GS1 General Specifications 7.9 it would be 1.
    decoded = decode("800307071324001022085952")
    assert decoded.findings[0].severity is Severity.LOOK
    assert decoded.findings[0].sentence == ("The check digit of 07071324001022 is 2, by the rule it is 1.")
    assert decoded.key == "gs1:800307071324001022085952"


@pytest.mark.parametrize("name", ["DataMatrix", "QRCode", "Code128"])
def test_symbols_read_by_an_outside_reader(name: str) -> None:
    symbol = zxingcpp.create_barcode(FDA, zxingcpp.barcode_format_from_str(name), gs1=True)
    image: Any = zxingcpp.write_barcode_to_image(symbol, scale=4)
    (seen,) = zxingcpp.read_barcodes(image, text_mode=zxingcpp.TextMode.Plain)
    assert "\x1d" in seen.text
    decoded = decode(seen.symbology_identifier + seen.text)
    assert (decoded.scheme, decoded.identifiers, decoded.findings) == (Scheme.GS1, FDA_READ, ())


def test_bracketed_plain_and_linked_forms_have_one_key() -> None:
    message = GS1Message.parse_hri("(01)51022222233336(10)A213B1(21)12/3,4")
    link = GS1DigitalLinkURI.from_element_strings(message.element_strings).as_uri(domain="id.example.org")
    forms = [message.value, "]d2" + message.value, "\x1d" + message.value + "\x1d", message.as_hri(), link]
    assert {decode(text).key for text in forms} == {"gs1:01510222222333362112/3,4"}
    assert decode("(01) 51022222233336 (21) 12/3,4").key == "gs1:01510222222333362112/3,4"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        (FDA, "gs1:0151022222233336211234"),
        ("(8004)4000001111", "gs1:80044000001111"),
        ("(8003)00614141123452400", "gs1:800300614141123452400"),
        ("(8003)00614141123452", "gs1:800300614141123452"),
        ("(00)376130321109103420", "gs1:00376130321109103420"),
        ("(8006)510222222333360102(21)7", "gs1:8006510222222333360102217"),
        ("(01)51022222233336(10)A213B1", "gs1:015102222223333610A213B1"),
        ("(01)51022222233336", "gs1:0151022222233336"),
        ("10a1\x1d17221231", "text:10A1␝17221231"),
    ],
)
def test_keys(text: str, key: str) -> None:
    assert decode(text).key == key


@pytest.mark.parametrize(
    ("text", "slug", "sentence"),
    [
        # AI 7007 is a harvest date, 713 a reimbursement number (AI table of 2026-01-04 in python-stdnum).
        (
            "(7007)141120(713)A1B2",
            "not-an-instrument",
            (
                "Cannot read the mark: it holds only ai 7007 141120, ai 713 A1B2, which says nothing of an"
                " instrument, must hold an item number with serial (01 and 21) or an asset number (8003, 8004)."
            ),
        ),
        (
            "]d27007141120",
            "not-an-instrument",
            (
                "Cannot read the mark: it holds only ai 7007 141120, which says nothing of an instrument, must"
                " hold an item number with serial (01 and 21) or an asset number (8003, 8004)."
            ),
        ),
        (
            "11260229",  # run with biip: there is no such day
            "date-impossible",
            "Cannot read the mark: its production date is '260229', must be a date as YYMMDD.",
        ),
        (
            "(01)51022222233336(17)991332",
            "structure",
            "Cannot read the mark: it holds '(17)991332', must hold a GS1 application identifier and its data.",
        ),
        (
            "(0195)1",
            "structure",
            "Cannot read the mark: it holds '(0195)1', must hold a GS1 application identifier and its data.",
        ),
        (
            "(0151)022222233336",
            "structure",
            (
                "Cannot read the mark: it holds '(0151)022222233336', must hold a GS1 application identifier and its"
                " data."
            ),
        ),
        (
            "https://id.example.org/01/abc",
            "structure",
            (
                "Cannot read the mark: it holds 'https://id.example.org/01/abc', must hold a GS1 application"
                " identifier and its data."
            ),
        ),
        (
            "0151022222233336" + "10" + "X" * 25,
            "separator-missing",
            (
                "Cannot read the mark: after (10) XXXXXXXXXXXXXXXXXXXX it holds 'XXXXX', must hold a separator"
                " (U+001D) there."
            ),
        ),
        (
            "015102222223333621A\x1d21B",
            "contradiction",
            "Cannot read the mark: it gives serial A and B, must give one.",
        ),
        (
            "]d2T000012H",
            "structure",
            "Cannot read the mark: it begins 'T000', must begin with a GS1 application identifier.",
        ),
        (
            "]d299",
            "structure",
            "Cannot read the mark: it holds '99', must hold a GS1 application identifier and its data.",
        ),
        (
            "]E412345678",
            "check-digit-failure",
            "Cannot read the mark: the check digit of 12345678 is 8, must be 0.",
        ),
    ],
)
def test_what_stops_a_gs1_mark(text: str, slug: str, sentence: str) -> None:
    decoded = decode(text)
    assert (decoded.scheme, slugs(decoded)) == (Scheme.GS1, [slug])
    assert decoded.findings[0].severity is Severity.STOP
    assert decoded.findings[0].sentence == sentence
    assert decoded.key.startswith("text:")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "(01)51022222233336(10)A1",
            "The mark does not name one piece: it gives gtin 51022222233336, lot A1, must give a serial as well.",
        ),
        (
            "]d221A1",
            "The mark does not name one piece: it gives serial A1, must give an item number (01) as well.",
        ),
        (
            "(8003)00614141123452",
            "The mark does not name one piece: it gives grai 0614141123452, must give a serial as well.",
        ),
    ],
)
def test_a_mark_of_a_kind_or_lot_is_not_individual(text: str, sentence: str) -> None:
    (finding,) = decode(text).findings
    assert (finding.slug, finding.severity) == ("not-individual", Severity.LOOK)
    assert finding.sentence == sentence


@pytest.mark.parametrize(
    ("text", "suspect"),
    [
        ("1012317221231", True),
        ("015102222223333621A117221231", True),
        ("015102222223333621A117221232", False),  # no such day
        ("015102222223333621A1\x1d17221231", False),  # the separator is there
        ("01510222222333361722123121A1", False),
        ("015102222223333617221231", False),
    ],
)
def test_a_lost_separator_is_suspected(text: str, suspect: bool) -> None:
    found = [finding for finding in decode(text).findings if finding.slug == "separator-suspect"]
    assert bool(found) is suspect
    assert all(finding.severity is Severity.LOOK for finding in found)


@pytest.mark.parametrize("text", ["10123", "2100456", "123456", "00-123", "12345678", "123456789013", "91AB", "²"])
def test_the_units_own_numbers_are_not_taken_for_gs1(text: str) -> None:
    assert decode(text).scheme is Scheme.UNKNOWN


# What a symbol of our own says of a mark; biip reads it back as an outside reader


@pytest.mark.parametrize(
    ("mark", "expires", "symbol"),
    [
        ("(01)09504000059118(21)A1", None, "(01)09504000059118(21)A1"),
        ("(01)09504000059118(10)L7", date(2028, 1, 31), "(01)09504000059118(17)280131(10)L7"),
        ("(00)006141411234567890", date(2028, 1, 31), "(00)006141411234567890"),  # a date goes with an item only
        ("(8004)9504000A1", None, "(8004)9504000A1"),
    ],
)
def test_a_symbol_of_our_own_says_the_mark(mark: str, expires: date | None, symbol: str) -> None:
    key = decode(mark).key
    assert printed(key, expires=expires) == symbol
    assert decode(symbol).key == key
    outside = GS1Message.parse_hri(symbol)
    assert "".join(f"({element.ai.ai}){element.value}" for element in outside.element_strings) == symbol


@pytest.mark.parametrize("key", ["gs1:", "text:P0000017", "gs1:010950400005911821A(1)"])
def test_a_key_that_is_none_of_gs1_or_holds_brackets_has_no_symbol(key: str) -> None:
    assert printed(key) == ""
