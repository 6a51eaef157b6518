"""Own codes and the reading of marks, against ISO/IEC 7064 and its outside implementations."""

from __future__ import annotations

import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from instruments.carriers import Scheme
from instruments.identity import (
    ALPHABET,
    LONGEST_MARK,
    Kind,
    OwnCode,
    check_character,
    decode,
    mark_key,
    own_code,
    read_own_code,
    same_device,
    why_not_mark_a_piece,
    wrong_kind,
)
from journal.findings import Severity


def test_check_character_of_the_published_example() -> None:
    # The identifier of a sound recording release, MOD 37,36: worked example in python-stdnum's manual.
    assert check_character("A12425GABC1234002") == "M"


@given(st.text(ALPHABET, min_size=1, max_size=40))
def test_check_character_agrees_with_python_stdnum(body: str) -> None:
    assert check_character(body) == mod_37_36.calc_check_digit(body)


def test_check_character_refuses_other_characters() -> None:
    with pytest.raises(ValueError, match="substring"):
        check_character("T00-12")


@given(st.sampled_from(list(Kind)), st.integers(1, 10**12 - 1))
def test_an_own_code_reads_back(kind: Kind, number: int) -> None:
    code = own_code(kind.value, number)
    assert len(code) >= 8
    assert read_own_code(code) == OwnCode(kind, number)
    assert read_own_code(f"  {code.lower()} \t") == OwnCode(kind, number)


def test_an_own_code_as_printed() -> None:
    # Check character H by python-stdnum's calc_check_digit("T000012").
    assert own_code("T", 12) == "T000012H"
    assert own_code("T", 1_234_567)[:-1] == "T1234567"
    assert [kind.word for kind in Kind] == [
        "piece", "tray", "pack", "load", "machine", "badge", "place", "case", "template",
        "loan", "command", "recall", "nonconformity", "box",
    ]  # fmt: skip


def test_every_single_wrong_character_is_found() -> None:
    # ISO/IEC 7064: a hybrid system finds all single substitutions.
    code = own_code("P", 123456)
    for place in range(len(code)):
        for wrong in set(ALPHABET) - {code[place]}:
            with pytest.raises(ValueError, match=r"Cannot (read|use) the code"):
                read_own_code(code[:place] + wrong + code[place + 1 :])


AGAIN = "Scan it again, or type it as printed."
SHAPE = f"must be one letter, 6 to 12 digits and a check character. {AGAIN}"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", f"Cannot read the code: it is '', {SHAPE}"),
        ("T00012", f"Cannot read the code: it is 'T00012', {SHAPE}"),
        ("TOOOO12H", f"Cannot read the code: it is 'TOOOO12H', {SHAPE}"),
        ("T0000I2H", f"Cannot read the code: it is 'T0000I2H', {SHAPE}"),
        ("T00001\u0664H", f"Cannot read the code: it is 'T00001\u0664H', {SHAPE}"),
        ("T000012A", f"Cannot read the code T000012A: its check character is A, must be H. {AGAIN}"),
        ("t000013h", f"Cannot read the code T000013H: its check character is H, must be F. {AGAIN}"),
        (
            "W000012" + check_character("W000012"),
            "Cannot use the code: its letter is W, must be one of P, T, K, L, M, B, S, C, N, A, D, R, Q, H.",
        ),
        ("T00000125", f"Cannot read the code T00000125: it has too many zeros, must be T000012H. {AGAIN}"),
        ("T000000" + check_character("T000000"), "must be from 1 to 999999999999"),
    ],
)
def test_a_code_that_is_not_ours_is_refused_with_its_reason(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot") as refused:
        read_own_code(text)
    assert sentence in str(refused.value)


@pytest.mark.parametrize("number", [0, -1, 10**12])
def test_a_number_out_of_range_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match="must be from 1 to 999999999999"):
        own_code("T", number)


@pytest.mark.parametrize(
    ("text", "scheme", "key"),
    [
        ("t000012h", Scheme.OWN, "T000012H"),
        ("]Q1T000012H", Scheme.OWN, "T000012H"),
        (" T000012H\r\n", Scheme.OWN, "T000012H"),
        ("T000012H\x1d", Scheme.OWN, "T000012H"),
        ("]d1+A99912345/$$52025010X3/16D20111212/S77DEFG458", Scheme.HIBC, "hibc:A9991234/S77DEFG45"),
        ("]C0=/A9999XYZ100T0944=,000025", Scheme.ICCBBA, "iccbba:=/A9999XYZ100T0944=,000025"),
        ("(01)51022222233336(21)1234", Scheme.GS1, "gs1:0151022222233336211234"),
        ("\x1d9999", Scheme.GS1, "text:9999"),
        ("X1234567", Scheme.UNKNOWN, "text:X1234567"),
        (" ab-12 ", Scheme.UNKNOWN, "text:AB-12"),
        ("größe 4", Scheme.UNKNOWN, "text:GRÖSSE 4"),
        ("http://[", Scheme.UNKNOWN, "text:HTTP://["),
    ],
)
def test_every_scheme_is_told_apart_and_has_its_key(text: str, scheme: Scheme, key: str) -> None:
    decoded = decode(text)
    assert (decoded.scheme, decoded.key) == (scheme, key)
    assert mark_key(text) == key


def test_an_own_code_says_what_it_stands_on() -> None:
    decoded = decode("t000012h")
    assert decoded.identifiers == {"kind": "tray", "number": "12"}
    assert decoded.findings == ()


@pytest.mark.parametrize("name", ["QRCode", "DataMatrix", "Code128"])
def test_an_own_code_read_from_its_symbol_by_an_outside_reader(name: str) -> None:
    symbol = zxingcpp.create_barcode(own_code("P", 4711), zxingcpp.barcode_format_from_str(name))
    (seen,) = zxingcpp.read_barcodes(zxingcpp.write_barcode_to_image(symbol, scale=4))
    assert decode(seen.symbology_identifier + seen.text).key == own_code("P", 4711)


ONCE_MORE = "Scan it again; if it stays so, use another mark of the piece and have the label looked at."
CARD = "Check the scanner with the scanner card, then scan again."
NO_SIGN = "must be a letter, a digit, a sign of the keyboard or the separator U+001D."


@pytest.mark.parametrize(
    ("text", "slug", "words"),
    [
        ("", "empty", f"Cannot read the mark: it is empty, must hold at least one character. {ONCE_MORE}"),
        (" \r\n", "empty", f"Cannot read the mark: it is empty, must hold at least one character. {ONCE_MORE}"),
        ("]d2", "empty", f"Cannot read the mark: it is empty, must hold at least one character. {ONCE_MORE}"),
        (
            "P" * 500,
            "too-long",
            f"Cannot read the mark: it has 500 characters, must have at most {LONGEST_MARK}. {ONCE_MORE}",
        ),
        (
            "P" * 61,
            "too-long",
            (
                "Cannot read the mark: it follows no known standard and has 61 characters, must have at most 60."
                f" {ONCE_MORE}"
            ),
        ),
        (
            "T0000\x0012H",
            "foreign-character",
            f"Cannot read the mark: character 6 is U+0000 (no printed character), {NO_SIGN} {CARD}",
        ),
        (
            "P00\ud83d",
            "foreign-character",
            f"Cannot read the mark: character 4 is U+D83D (no printed character), {NO_SIGN} {CARD}",
        ),
        (
            "\U0001f600",
            "foreign-character",
            f"Cannot read the mark: character 1 is U+1F600 (GRINNING FACE), {NO_SIGN} {CARD}",
        ),
        (
            # FHIR R5, Device example-udi1: the separator was stored as an arrow.
            "]d201108576740020171714112010NYFUL01\u219421192837\u2194713A1B2C3D4E5F6G",
            "foreign-character",
            f"Cannot read the mark: character 34 is U+2194 (LEFT RIGHT ARROW), {NO_SIGN} {CARD}",
        ),
        (
            "T000012A",
            "check-character-failure",
            f"Cannot read the code T000012A: its check character is A, must be H. {AGAIN}",
        ),
        (
            # A German keyboard layout swaps Y and Z: C000017 has Z as its check character.
            "c000017y",
            "check-character-failure",
            f"Cannot read the code C000017Y: its check character is Y, must be Z. {AGAIN}",
        ),
        (
            "T000000" + check_character("T000000"),
            "check-character-failure",
            (
                "Cannot use the code: its number is 0, must be from 1 to 999999999999. Scan it again, or type it as"
                " printed."
            ),
        ),
        (
            "0107032069804987",
            "check-digit-failure",
            f"Cannot read the mark: the check digit of 07032069804987 is 7, must be 8. {ONCE_MORE}",
        ),
        (
            "+A123BJC5D6E71H",
            "check-character-failure",
            f"Cannot read the mark: its check character is H, must be G. {ONCE_MORE}",
        ),
        (
            # A scanner that sends another sign for the separator.
            "]d2015102222223333610NYFUL01|21192837",
            "separator-missing",
            (
                "Cannot read the mark: after (10) NYFUL01 it holds '|21192837', must hold a separator (U+001D) there."
                f" {ONCE_MORE}"
            ),
        ),
        (
            # A separator that the scanner left out: lot of twenty characters, then more of it.
            "015102222223333610ABCDEFGHIJKLMNOPQRST21XYZ",
            "separator-missing",
            (
                "Cannot read the mark: after (10) ABCDEFGHIJKLMNOPQRST it holds '21XYZ', must hold a separator"
                f" (U+001D) there. {ONCE_MORE}"
            ),
        ),
    ],
)
def test_a_wrong_scan_is_told_what_was_wrong(text: str, slug: str, words: str) -> None:
    decoded = decode(text)
    (finding,) = decoded.findings
    assert (finding.slug, finding.severity) == (slug, Severity.STOP)
    assert finding.words == words
    assert decoded.key.startswith("text:")


def test_what_stands_before_a_foreign_character_is_still_told() -> None:
    decoded = decode("]d20107032069804987\u219421192837")
    assert decoded.identifiers == {"gtin": "07032069804987"}
    assert [finding.slug for finding in decoded.findings] == ["foreign-character", "check-digit-failure"]


def test_plain_text_is_taken_with_a_note() -> None:
    (finding,) = decode("AB-12").findings
    assert (finding.slug, finding.severity) == ("unknown-scheme", Severity.NOTE)
    assert finding.sentence == "The mark follows none of the known standards; it is taken as plain text."


@given(st.text(max_size=LONGEST_MARK + 10) | st.text("]d2(01)+/$=&,10172199\x1dA ", max_size=60))
def test_no_text_is_too_odd_to_be_answered(text: str) -> None:
    decoded = decode(text)
    assert "\x00" not in decoded.key
    assert decoded.identifiers or decoded.findings


@given(st.text("0123456789ABCabc-/", min_size=1, max_size=20))
def test_a_serial_is_found_again_however_it_is_written(serial: str) -> None:
    forms = [
        f"]d2015102222223333621{serial}",
        f"015102222223333621{serial}\x1d17301231",
        f"(01)51022222233336(17)301231(21){serial}",
    ]
    assert {mark_key(text) for text in forms} == {f"gs1:015102222223333621{serial}"}


def test_symbol_and_print_that_describe_different_devices() -> None:
    # FHIR R5, Device example-udi1: the symbol and the print of one published example.
    carrier = "]d201108576740020171714112010NYFUL01\u219421192837\u2194713A1B2C3D4E5F6G"
    readable = "{01}00844588003288{17}141120{10}7654321D{21}10987654d321"
    findings = same_device(carrier, readable)
    assert [(finding.slug, finding.severity) for finding in findings] == [
        ("foreign-character", Severity.STOP),
        ("different-device", Severity.STOP),
        ("different-device", Severity.STOP),
        ("one-sided", Severity.LOOK),
    ]
    assert findings[1].sentence == (
        "Cannot trust the label: its symbol gives gtin 10857674002017, its print gtin 00844588003288; they must agree."
    )
    repaired = same_device(carrier.replace("\u2194", "\x1d"), readable)
    assert [finding.sentence.split("gives ")[1].split(" ")[0] for finding in repaired] == [
        "gtin",
        "lot",
        "serial",
        "ai",
    ]


def test_symbol_and_print_that_agree() -> None:
    symbol = "]d20151022222233336111412311715070710A213B1\x1d211234"
    assert same_device(symbol, "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234") == ()


def test_symbol_and_print_of_different_schemes() -> None:
    findings = same_device("T000012H", "AB-12")
    assert findings[0].sentence == (
        "Cannot trust the label: its symbol gives scheme own, its print scheme unknown; they must agree."
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("(01)51022222233336(21)1234", []),
        ("AB-12", []),
        (
            "T000012H",
            [
                (
                    "Cannot put the mark T000012H on a piece: it is our own code of a tray, must be a mark of its"
                    " maker. Scan the maker's mark."
                )
            ],
        ),
        ("T000012A", [f"Cannot read the code T000012A: its check character is A, must be H. {AGAIN}"]),
        (
            "(01)51022222233336",
            [
                (
                    "The mark does not name one piece: it gives gtin 51022222233336, must give a serial as well."
                    " Use it for stock; find a piece by its own code."
                )
            ],
        ),
    ],
)
def test_what_may_mark_a_piece(text: str, words: list[str]) -> None:
    findings = why_not_mark_a_piece(text)
    assert [finding.words for finding in findings] == words
    assert all(finding.severity is Severity.STOP for finding in findings)


def test_a_badge_is_not_taken_for_an_instrument() -> None:
    badge = own_code("B", 7)
    (finding,) = wrong_kind(decode(badge), Kind.PIECE)
    assert (finding.slug, finding.severity) == ("wrong-kind", Severity.STOP)
    assert finding.words == f"Cannot take {badge} here: it is a badge, must be a piece. Scan the piece."
    assert wrong_kind(decode(badge), Kind.BADGE) == ()
    assert wrong_kind(decode("AB-12"), Kind.PIECE) == ()
    assert wrong_kind(decode("T000012A"), Kind.PIECE) == ()
