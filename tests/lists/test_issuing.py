"""The rule of issue, one fact at a time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from journal.findings import Finding, Severity
from lists.issuing import ItemFact, LoadFact, PackFacts, against_issue, against_opening, why_not_shelf
from tests.lists.test_stages import NOW, minutes

TODAY = NOW.date()
LOAD = LoadFact("L1", "released", NOW - minutes(30))
PACK = PackFacts("K1", NOW + timedelta(days=30), loads=(LOAD,), items=(ItemFact("P1", "Barrel"),))
MAKER = replace(PACK, loads=(), from_maker=True, items=(ItemFact("P1", "Stent", expires=date(2028, 1, 31)),))


def judge(pack: PackFacts, *, intact: bool = True) -> list[Finding]:
    return list(against_issue(pack, barrier_intact=intact, case="K7QF", at=NOW, today=TODAY, immediate_min=60))


def stops(pack: PackFacts, *, intact: bool = True) -> list[str]:
    return [finding.slug for finding in judge(pack, intact=intact) if finding.severity is Severity.STOP]


@pytest.mark.parametrize("pack", [PACK, MAKER, replace(PACK, immediate=True)])
def test_a_released_pack_in_date_and_intact_goes_out(pack: PackFacts) -> None:
    assert judge(pack) == []


@pytest.mark.parametrize("state", ["building", "running", "awaiting release", "rejected", "recalled"])
def test_every_load_it_went_through_must_be_released(state: str) -> None:
    second = replace(LOAD, code="L2", state=state)
    assert stops(replace(PACK, loads=(LOAD, second))) == ["load-not-released"]


def test_a_pack_that_went_through_no_load_stays() -> None:
    assert stops(replace(PACK, loads=())) == ["never-sterilised"]


def test_a_recalled_wash_of_one_of_its_pieces_keeps_it() -> None:
    item = ItemFact("P1", "Barrel", recalled_wash="L0")
    assert stops(replace(PACK, items=(item,))) == ["wash-recalled"]


def test_the_last_minute_of_its_shelf_life_is_in_date_and_the_next_is_not() -> None:
    assert stops(replace(PACK, use_by=NOW)) == []
    assert stops(replace(PACK, use_by=NOW - minutes(1))) == ["expired"]


def test_the_makers_last_day_counts_for_each_piece() -> None:
    assert stops(replace(PACK, items=(ItemFact("P1", "Seal", expires=TODAY),))) == []
    assert stops(replace(PACK, items=(ItemFact("P1", "Seal", expires=TODAY - timedelta(days=1)),))) == ["expired"]


def test_a_damaged_barrier_is_named_as_what_it_is() -> None:
    wrapped, unwrapped = judge(PACK, intact=False), judge(replace(PACK, immediate=True), intact=False)
    assert [row[0].slug for row in (wrapped, unwrapped)] == ["barrier-damaged"] * 2
    assert "its barrier is reported damaged" in wrapped[0].sentence
    assert "its container is reported damaged" in unwrapped[0].sentence


@pytest.mark.parametrize(
    ("fields", "slug"), [({"identified": False}, "lot-missing"), ({"expires": None}, "expiry-missing")]
)
def test_a_maker_pack_names_lot_and_expiry(fields: dict[str, Any], slug: str) -> None:
    assert stops(replace(MAKER, items=(replace(MAKER.items[0], **fields),))) == [slug]


@pytest.mark.parametrize(
    ("ended_min_ago", "found"), [(60, []), (61, ["immediate-use-over"]), (None, ["immediate-use-over"])]
)
def test_an_immediate_use_item_has_its_minutes(ended_min_ago: int | None, found: list[str]) -> None:
    ended = None if ended_min_ago is None else NOW - minutes(ended_min_ago)
    pack = replace(PACK, immediate=True, loads=(replace(LOAD, ended_at=ended),))
    assert stops(pack) == found
    opening = against_opening(pack, at=NOW, today=TODAY, immediate_min=60)
    assert [finding.slug for finding in opening] == found


def test_an_immediate_use_item_serves_one_case() -> None:
    assert stops(replace(PACK, immediate=True, earlier_cases=("K7QF",))) == []
    assert stops(replace(PACK, immediate=True, earlier_cases=("AAAA",))) == ["immediate-use-one-case"]
    assert stops(replace(PACK, earlier_cases=("AAAA",))) == []


def test_what_to_look_at_does_not_stop() -> None:
    doubtful = replace(LOAD, result_due=True, in_doubt=True)
    found = judge(replace(PACK, loads=(doubtful,), lacks=("1 × Seal", "2 × Cap")))
    assert [finding.slug for finding in found] == ["incomplete", "biological-result-due", "load-in-doubt"]
    assert {finding.severity for finding in found} == {Severity.LOOK}
    assert found[0].sentence == "K1 is incomplete: 1 × Seal, 2 × Cap."


def test_everything_that_stands_against_it_is_said_at_once() -> None:
    worst = replace(PACK, use_by=NOW - minutes(1), loads=(replace(LOAD, state="recalled"),))
    assert stops(worst, intact=False) == ["load-not-released", "expired", "barrier-damaged"]


def test_opening_asks_the_time_again() -> None:
    assert against_opening(PACK, at=NOW, today=TODAY, immediate_min=60) == ()
    late = against_opening(replace(PACK, use_by=NOW - minutes(1)), at=NOW, today=TODAY, immediate_min=60)
    assert [finding.sentence for finding in late] == [
        "Cannot open K1: its use-by date was 24-Nov-2026, it must be in date."
    ]


@pytest.mark.parametrize(
    ("pack", "intact", "why"),
    [
        (PACK, True, ""),
        (PACK, False, "barrier not intact"),
        (replace(PACK, use_by=NOW - minutes(1)), True, "past its use-by date"),
        (replace(PACK, immediate=True), True, "immediate-use item: it is not stored"),
    ],
)
def test_only_an_intact_pack_in_date_goes_back_to_the_shelf(pack: PackFacts, why: str, *, intact: bool) -> None:
    assert why_not_shelf(pack, barrier_intact=intact, at=NOW, today=TODAY) == why


def test_a_shelf_life_ends_at_a_moment_with_a_zone() -> None:
    with pytest.raises(ValueError, match="zone"):
        replace(PACK, use_by=NOW.replace(tzinfo=None))
