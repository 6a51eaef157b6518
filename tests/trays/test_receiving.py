"""Receiving from the maker: what a scanned mark fills in, what it leaves to a person, and what is not taken.

The sample number 09504000059118 is one of GS1; the HIBC marks are worked examples of the HIBC Supplier Labeling
Standard 2.6 (from memory) with check characters of our own function, which has its own tests.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from instruments.actions import check_scanner
from instruments.carriers import GS
from instruments.hibc import check_character
from instruments.models import Part
from instruments.scanner_check import SENT
from journal.models import Station
from tests import makers
from tests.makers import act
from tests.trays.pages import SWAP, signed_in
from trays.actions import receive_maker_pack
from trays.models import Pack
from trays.reads import makers_mark

pytestmark = pytest.mark.django_db

GTIN = "09504000059118"
EXPIRES = date(2076, 1, 31)
LOT_MARK = f"]d201{GTIN}1776013110LOT-7"
SERIAL_MARK = f"]d201{GTIN}10LOT-7{GS}1776013121S1/a"


def hibc(body: str) -> str:
    return body + check_character(body)


def stent(name: str = "Stent 14 × 40 mm") -> Part:
    return makers.part(single_use=True, name=name)


def received(mark: str, part: Part, **given: Any) -> Pack:
    fields: dict[str, Any] = {"expires": EXPIRES, "lot": "LOT-7", "barrier_intact": True} | given
    return Pack.objects.get(code=receive_maker_pack(part.code, **fields, mark=mark, act=act()).mark)


def slugs(text: str, station: Station | None = None) -> list[str]:
    return [finding.slug for finding in makers_mark(text, station=station, at=timezone.now()).findings]


def test_the_first_of_its_number_asks_for_the_part_and_the_next_does_not() -> None:
    part = stent()
    mark = makers_mark(LOT_MARK, station=None, at=timezone.now())
    assert mark.fields == {"lot": "LOT-7", "expires": "2076-01-31", "mark": LOT_MARK}
    assert [finding.slug for finding in mark.findings] == ["part-unknown"]
    received(LOT_MARK, part)
    again = makers_mark(LOT_MARK.replace("LOT-7", "LOT-8"), station=None, at=timezone.now())
    assert again.fields["part"] == part.code
    assert again.findings == ()
    assert again.sentence == f"Read as {part.name}: lot LOT-8, expiry 2076-01-31."


def test_the_part_is_the_one_under_which_the_number_came_last() -> None:
    received(LOT_MARK, stent())
    last = stent("Stent 14 × 40 mm, new name")
    received(LOT_MARK, last)
    assert makers_mark(SERIAL_MARK, station=None, at=timezone.now()).fields["part"] == last.code


def test_a_hibc_number_is_not_taken_for_a_longer_one() -> None:
    part = stent()
    received(hibc("+A99912341/$LOT-7"), part)
    filled = makers_mark(hibc("+A99912341/$$3760131LOT-9"), station=None, at=timezone.now())
    assert filled.fields["part"] == part.code
    assert (filled.fields["lot"], filled.fields["expires"]) == ("LOT-9", "2076-01-31")
    assert slugs(hibc("+A9991231/$$3760131LOT-9")) == ["part-unknown"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (f"01{GTIN}", ["part-unknown", "lot-missing", "expiry-missing"]),
        (f"01{GTIN}21S1", ["part-unknown", "expiry-missing"]),
        (hibc("+A99912341"), ["part-unknown", "lot-missing", "expiry-missing"]),
        ("(8004)4000001111", ["part-unknown", "lot-missing", "expiry-missing"]),
        (f"01{GTIN}1720013110LOT-7", ["expired"]),
        (f"01{GTIN[:-1]}710LOT-7", ["check-digit-failure"]),
        ("stent from the blue box", ["not-a-makers-mark"]),
        ("", ["empty"]),
    ],
)
def test_each_fault_of_a_mark_is_named(text: str, found: list[str]) -> None:
    assert slugs(text) == found


def test_our_own_code_is_no_makers_mark() -> None:
    assert slugs(makers.piece().code) == ["not-a-makers-mark"]


def test_a_serial_needs_a_checked_scanner() -> None:
    station = Station.objects.create(name="Store", place=makers.place())
    assert slugs(SERIAL_MARK, station) == ["scanner-unchecked"]
    assert "scanner-unchecked" not in slugs(LOT_MARK, station)
    check_scanner(station.name, SENT, mean_ms=4, longest_ms=9, act=act(at=timezone.now()))
    assert "scanner-unchecked" not in slugs(SERIAL_MARK, station)


# The page


def test_a_scan_fills_the_form_and_keeps_what_was_typed() -> None:
    part = stent()
    client = signed_in()
    given = {"code": f"01{GTIN}21S1/a", "expires": "2076-01-31", "barrier_intact": "on", "part": part.code}
    answer = client.post(reverse("receive-mark"), given, headers=SWAP)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "<html" not in text
    assert 'data-result="look"' in text
    for value in ('value="S1/a"', 'value="2076-01-31"', f'value="{part.code}" selected', "checked"):
        assert value in text


def test_a_mark_that_cannot_be_taken_changes_nothing_typed() -> None:
    answer = signed_in().post(reverse("receive-mark"), {"code": "blue box", "lot": "LOT-3"}, headers=SWAP)
    text = answer.content.decode()
    assert answer.status_code == 409
    assert 'data-result="stop"' in text
    assert "must be a GS1 or HIBC mark" in text
    assert 'value="LOT-3"' in text


def test_without_javascript_the_whole_page_comes_filled() -> None:
    text = signed_in().post(reverse("receive-mark"), {"code": LOT_MARK}).content.decode()
    assert "<html" in text
    assert 'value="LOT-7"' in text
    assert f'value="{LOT_MARK}"' in text


def filled(part: Part, **other: str) -> dict[str, str]:
    return {
        "part": part.code,
        "lot": "LOT-7",
        "expires": "2076-01-31",
        "barrier_intact": "on",
        "mark": LOT_MARK,
    } | other


def test_what_was_scanned_is_received() -> None:
    answer = signed_in().post(reverse("receive"), filled(stent()), follow=True)
    pack = Pack.objects.get()
    assert f"received as {pack.code}" in str(*answer.context["messages"])
    assert pack.contents.get().piece.lot == "LOT-7"


def test_a_refusal_keeps_the_form() -> None:
    part = stent()
    answer = signed_in().post(reverse("receive"), filled(part, lot="LOT-8"))
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "its mark gives lot LOT-7, must be LOT-8 as typed" in text
    assert 'value="LOT-8"' in text
    assert not Pack.objects.exists()
    assert signed_in().post(reverse("receive"), {"lot": "1"}).status_code == 422


# Symbols of ISO 15223-1:2021 stand where the maker is quoted, and nowhere else


def test_the_maker_is_quoted_with_symbols_and_words() -> None:
    pack = received(SERIAL_MARK, stent(), serial="S1/a")
    client = signed_in()
    for address in (reverse("pack", args=[pack.code]), reverse("piece", args=[pack.contents.get().piece.code])):
        text = client.get(address).content.decode()
        quoted = text.split('class="quoted"')[1].split("</section>")[0]
        assert quoted.count("<svg") == 4
        for word in ("Single use: do not use again", "Use by", "Batch code", "LOT-7", "Serial number", "S1/a"):
            assert word in quoted


def test_our_own_pages_and_labels_carry_no_symbol_of_a_maker() -> None:
    own = makers.pack()
    assert 'class="quoted"' not in signed_in().get(reverse("pack", args=[own.code])).content.decode()
    for template in Path("trays/templates/trays/paper").iterdir():  # their drawings are codes and outlines alone
        assert not re.search("<svg|quoted", template.read_text())
