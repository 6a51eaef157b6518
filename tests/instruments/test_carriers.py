"""Dates and sentences that the carriers share."""

from __future__ import annotations

import pytest

from instruments.carriers import date_of, shown, text_key


@pytest.mark.parametrize(
    ("order", "digits", "read_as"),
    [
        # Open HIBC parser's unit tests: $$4 is YYMMDDHH, $$5 is YYJJJ, 14D is YYYYMMDD.
        ("YYMMDDHH", "20020216", ("2020-02-02", "16:00")),
        ("YYJJJ", "20015", ("2020-01-15", "")),
        ("YYYYMMDD", "20111231", ("2011-12-31", "")),
        # ICCBBA sample of the FDA's UDI format sheet: 2014, day 32.
        ("YYYJJJ", "014032", ("2014-02-01", "")),
        # GS1 General Specifications 7.12: 49 years back to 50 ahead, of 2026.
        ("YYMMDD", "770101", ("1977-01-01", "")),
        ("YYMMDD", "761231", ("2076-12-31", "")),
        # biip's tests of AI 8008 and 7003.
        ("YYMMDDHHNNSS", "000102141516", ("2000-01-02", "14:15:16")),
        ("YYMMDDHHNN", "0701021415", ("2007-01-02", "14:15")),
        # ISBT 128, from memory: the first of three digits of the year is its century, 9 for 19.
        ("YYYJJJ", "999365", ("1999-12-31", "")),
        # By the calendar.
        ("YYJJJHH", "2036623", ("2020-12-31", "23:00")),
        ("MMYY", "0224", ("2024-02-29", "")),
        ("MMDDYY", "022823", ("2023-02-28", "")),
        ("YYJJJ", "21366", None),
        ("YYJJJ", "21000", None),
        ("YYMMDD", "260229", None),
        ("YYMMDDHH", "26022824", None),
        ("YYMMDDHHNN", "2602282360", None),
        ("YYMMDDHHNNSS", "260228235960", None),
        ("MMYY", "1324", None),
    ],
)
def test_dates_of_every_digit_order(order: str, digits: str, read_as: tuple[str, str] | None) -> None:
    assert date_of(order, digits) == read_as


def test_a_mark_is_shown_whole_or_cut_with_what_cannot_be_seen() -> None:
    assert shown("10AB\x1d17") == "10AB␝17"
    assert shown("A\x00B") == "A\\u0000B"
    assert shown("A" * 61) == "A" * 60 + "…"


def test_the_key_of_a_text_can_be_stored() -> None:
    assert text_key(" ab-12\n") == "text:AB-12"
    assert "\x00" not in text_key("a\x00b")
