"""HIBC marks, against published strings; every check character was recomputed from the stated rule."""

from __future__ import annotations

import pytest

from instruments.carriers import Scheme
from instruments.hibc import ALPHABET, check_character, check_pair
from instruments.identity import decode
from journal.findings import Severity

PUBLISHED = [
    # Open HIBC parser's unit tests, and figures of the HIBC Supplier Labeling Standard 2.6.
    ("+A123BJC5D6E71G", {"lic": "A123", "reference": "BJC5D6E7", "unit_of_measure": "1"}),
    ("+A123ABCDEFGHI1234567891E", {"lic": "A123", "reference": "ABCDEFGHI123456789", "unit_of_measure": "1"}),
    ("+$$52001510X3GD", {"expiry": "2020-01-15", "lot": "10X3", "link": "G"}),
    ("+$$52001510X3+ ", {"expiry": "2020-01-15", "lot": "10X3", "link": "+"}),
    ("+25330BC34567T2", {"expiry": "2025-11-26", "lot": "BC34567", "link": "T"}),
    ("+$$710X3G7", {"lot": "10X3", "link": "G"}),
    ("+$$+52001510X3GB", {"expiry": "2020-01-15", "serial": "10X3", "link": "G"}),
    (
        "+A123BJC5D6E71/$$52001510X3C",
        {"lic": "A123", "reference": "BJC5D6E7", "unit_of_measure": "1", "expiry": "2020-01-15", "lot": "10X3"},
    ),
    (
        "+A123ABCDEFGHI1234567891/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202$",
        {
            "lic": "A123",
            "reference": "ABCDEFGHI123456789",
            "unit_of_measure": "1",
            "expiry": "2020-02-02",
            "expiry_time": "16:00",
            "lot": "LOT123456789012345",
            "serial": "XYZ456789012345678",
            "production": "2013-02-02",
        },
    ),
    (
        "+A99912349/$10X3/16D20111231/14D20200131/Q500Z",
        {
            "lic": "A999",
            "reference": "1234",
            "unit_of_measure": "9",
            "lot": "10X3",
            "production": "2011-12-31",
            "expiry": "2020-01-31",
            "quantity": "500",
        },
    ),
    (
        "+A99912345/$$52025010X3/16D20111212/S77DEFG458",
        {
            "lic": "A999",
            "reference": "1234",
            "unit_of_measure": "5",
            "expiry": "2020-09-06",
            "lot": "10X3",
            "production": "2011-12-12",
            "serial": "77DEFG45",
        },
    ),
    (
        "+A99912345/$$812710X3/16D20111212/14D20200906/S77DEFG453",
        {
            "lic": "A999",
            "reference": "1234",
            "unit_of_measure": "5",
            "quantity": "12",
            "lot": "10X3",
            "production": "2011-12-12",
            "expiry": "2020-09-06",
            "serial": "77DEFG45",
        },
    ),
    (
        "+A99912345/$$902345710X3/$$+320090677DEFG45/16D201112126",
        {
            "lic": "A999",
            "reference": "1234",
            "unit_of_measure": "5",
            "quantity": "2345",
            "lot": "10X3",
            "expiry": "2020-09-06",
            "serial": "77DEFG45",
            "production": "2011-12-12",
        },
    ),
    (
        "+E203PB414109/$$8243280112R00089525J",
        {
            "lic": "E203",
            "reference": "PB41410",
            "unit_of_measure": "9",
            "quantity": "24",
            "expiry": "2028-01-12",
            "lot": "R00089525",
        },
    ),
    (
        "+EHWD3551419/$$900100F",
        {"lic": "EHWD", "reference": "355141", "unit_of_measure": "9", "quantity": "100"},
    ),
    (
        "+EHWD3551419/$/Q100X",
        {"lic": "EHWD", "reference": "355141", "unit_of_measure": "9", "quantity": "100"},
    ),
    (
        "+J123AQ3451/25330BC34567/S4012X",
        {
            "lic": "J123",
            "reference": "AQ345",
            "unit_of_measure": "1",
            "expiry": "2025-11-26",
            "lot": "BC34567",
            "serial": "4012",
        },
    ),
    (
        "]Q0+J123AQ3451/$$3231231BC34567/S4012R",
        {
            "lic": "J123",
            "reference": "AQ345",
            "unit_of_measure": "1",
            "expiry": "2023-12-31",
            "lot": "BC34567",
            "serial": "4012",
        },
    ),
    # Printed form: asterisks are not data, a space as check character shows as underscore (the body's terms page).
    ("*+A123BJC5D6E71G*", {"lic": "A123", "reference": "BJC5D6E7", "unit_of_measure": "1"}),
    ("*+$$52001510X3+_*", {"expiry": "2020-01-15", "lot": "10X3", "link": "+"}),
]


@pytest.mark.parametrize(("text", "identifiers"), PUBLISHED)
def test_published_marks_read_as_stated(text: str, identifiers: dict[str, str]) -> None:
    decoded = decode(text)
    assert decoded.scheme is Scheme.HIBC
    assert decoded.identifiers == identifiers
    assert [finding.slug for finding in decoded.findings if finding.severity is Severity.STOP] == []


def test_the_widely_copied_sample_fails_its_check_character() -> None:
    # Sample of the FDA's UDI format sheet and of FHIR: by modulo 43 the last character is H. The hour form of
    # the date, 20020216, is 2020-02-02 16:00 (open HIBC parser's unit test).
    text = "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202"
    decoded = decode(text + "C")
    (finding,) = decoded.findings
    assert (finding.slug, finding.severity) == ("check-character-failure", Severity.STOP)
    assert finding.sentence == "Cannot read the mark: its check character is C, must be H."
    assert decoded.identifiers == decode(text + "H").identifiers
    assert (decoded.identifiers["expiry"], decoded.identifiers["expiry_time"]) == ("2020-02-02", "16:00")
    assert decode(text + "H").key == "hibc:H123PARTNO123456789012/SXYZ456789012345678"
    assert decoded.key.startswith("text:")


@pytest.mark.parametrize(
    ("body", "character"),
    # Publicly worked examples: sums 149, 15 and 60, modulo 43.
    [("+A1234BJC5D6E71", "K"), ("07000503", "F"), ("159AZ", "H")],
)
def test_check_character_of_worked_examples(body: str, character: str) -> None:
    assert check_character(body) == character


def test_every_single_wrong_character_is_found() -> None:
    # A sum modulo 43 over 43 different values: any single substitution changes it.
    text = "+A99912345/$$52025010X3/16D20111212/S77DEFG458"
    for place in range(1, len(text)):
        for wrong in set(ALPHABET) - {text[place], " "}:
            decoded = decode(text[:place] + wrong + text[place + 1 :])
            assert decoded.findings[0].slug == "check-character-failure"
            assert decoded.key.startswith("text:")


@pytest.mark.parametrize(
    ("body", "pair"),
    [
        ("++A999MODELIDENTIFIER11", "S8"),  # EU database help page, Basic UDI-DI in HIBC form
        ("1987654Ad4X4bL5ttr2310c", "2K"),  # GS1 General Specifications, Global Model Number; from memory
    ],
)
def test_check_pair_of_published_families(body: str, pair: str) -> None:
    assert check_pair(body) == pair


@pytest.mark.parametrize(
    ("text", "date", "precise"),
    # The date forms that no published string above shows; check characters by the rule, dates by the calendar.
    [
        ("$$2093020LOT", "2020-09-30", True),
        ("$$62036623LOT", "2020-12-31", True),
        ("$$1125LOT", "2025-11-30", False),
        ("$$0224LOT", "2024-02-29", False),
    ],
)
def test_remaining_date_forms(text: str, date: str, precise: bool) -> None:
    body = f"+A99912345/{text}/S7"
    decoded = decode(body + check_character(body))
    assert decoded.identifiers["expiry"] == date
    assert decoded.identifiers["lot"] == "LOT"
    assert [finding.slug for finding in decoded.findings] == ([] if precise else ["month-only"])
    if not precise:
        assert decoded.findings[0].severity is Severity.NOTE
    assert decoded.key == "hibc:A9991234/S7"


@pytest.mark.parametrize(
    ("body", "key", "slugs"),
    [
        ("+A99912345", "hibc:A9991234", ["not-individual"]),
        ("+A99912345/$10X3", "hibc:A9991234/$10X3", ["not-individual"]),
        ("+A99912345/$+10X3", "hibc:A9991234/S10X3", []),
        ("+A99912345/$$+710X3", "hibc:A9991234/S10X3", []),
        ("+A99912345/$$112510X3", "hibc:A9991234/$10X3", ["month-only", "not-individual"]),
        ("+$$+710X3A", "text:+$$+710X3A", ["not-individual"]),
    ],
)
def test_keys(body: str, key: str, slugs: list[str]) -> None:
    decoded = decode(body + check_character(body))
    assert decoded.key in (key, key + check_character(body))
    assert [finding.slug for finding in decoded.findings] == slugs


AGAIN = "Scan it again; if it stays so, use another mark of the piece and have the label looked at."


@pytest.mark.parametrize(
    ("body", "slug", "sentence"),
    [
        ("+A99912345/X1", "structure", "a part of it is 'X1', must be lot, serial, date or quantity"),
        ("+A99912345/S", "structure", "a part of it is 'S', must be lot, serial, date or quantity"),
        ("+A99912345/QX", "structure", "a part of it is 'QX', must be lot, serial, date or quantity"),
        ("+A99912345/", "structure", "a part of it is '', must be lot, serial, date or quantity"),
        ("+A99912345/$$", "structure", "its date flag is '', must be a digit from 0 to 7"),
        ("+A99912345/$$X1", "structure", "its date flag is 'X', must be a digit from 0 to 7"),
        ("+A99912345/$$81", "structure", "its quantity is '1', must be 2 digits"),
        ("+A99912345/$$9123X5", "structure", "its quantity is '123X5', must be 5 digits"),
        ("+A99912345/$$3231332L", "date-impossible", "its expiry date is '231332', must be a date as YYMMDD"),
        ("+A99912345/$$323", "date-impossible", "its expiry date is '23', must be a date as YYMMDD"),
        ("+A99912345/$$1325L", "date-impossible", "its expiry date is '1325', must be a date as MMYY"),
        ("+A99912345/14D2020113", "date-impossible", "its expiry date is '2020113', must be a date as YYYYMMDD"),
        ("+A99912345/S1/S2", "contradiction", "it gives serial 1 and 2, must give one"),
        ("+A99912345/S" + "1" * 19, "structure", "its serial has 19 characters, must have at most 18"),
        ("+/X", "structure", "it begins '+', must begin with a labeler and a catalogue number"),
    ],
)
def test_what_stops_a_mark_whose_check_character_fits(body: str, slug: str, sentence: str) -> None:
    decoded = decode(body + check_character(body))
    (finding,) = decoded.findings
    assert (finding.slug, finding.severity) == (slug, Severity.STOP)
    assert finding.words == f"Cannot read the mark: {sentence}. {AGAIN}"
    assert decoded.key.startswith("text:")


@pytest.mark.parametrize(
    ("text", "slug", "sentence"),
    [
        (
            "+$$52001510X3+",  # published with a space as check character, here without it
            "check-character-failure",
            "Cannot read the mark: its check character seems to be a space that was lost, must end with that space.",
        ),
        (
            "+$$52001510X3+X",
            "check-character-failure",
            "Cannot read the mark: its check character is X, must be a space.",
        ),
        (
            "+A123BJC5D6E71_",
            "check-character-failure",
            "Cannot read the mark: its check character is _, must be G.",
        ),
        (
            "+a123bjc5d6e71g",
            "foreign-character",
            "Cannot read the mark: it holds 'a', must hold only digits, capital letters and - . $ / + % or a space.",
        ),
        ("+", "check-character-failure", "Cannot read the mark: its check character is +, must be 0."),
        (
            "++A999MODELIDENTIFIER11S9",
            "check-character-failure",
            "Cannot read the mark: its check pair is S9, must be S8.",
        ),
        (
            "++A999MODELIDENTIFIER11222S8",
            "structure",
            "Cannot read the mark: it has 28 characters, must have at most 25.",
        ),
    ],
)
def test_what_stops_a_mark(text: str, slug: str, sentence: str) -> None:
    decoded = decode(text)
    (finding,) = decoded.findings
    assert (decoded.scheme, finding.slug, finding.severity) == (Scheme.HIBC, slug, Severity.STOP)
    assert finding.sentence == sentence
    assert decoded.key.startswith("text:")


def test_a_device_family_is_not_individual() -> None:
    # EU database help page: Basic UDI-DI in HIBC form; it never stands on a label.
    decoded = decode("++A999MODELIDENTIFIER11S8")
    assert decoded.identifiers == {"model": "++A999MODELIDENTIFIER11S8"}
    assert decoded.findings[0].sentence == (
        "The mark does not name one piece: it gives a family of devices (++A999MODELIDENTIFIER11S8),"
        " must give labeler, catalogue number and serial as well."
    )
