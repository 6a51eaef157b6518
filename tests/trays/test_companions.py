"""Each barrel with its sheath and seal, and none of these without its barrel."""

from __future__ import annotations

import pytest

from instruments.models import PartKind
from journal.findings import Severity
from tests.trays.counting import FIVE, FIVE_HALF, RULE, SIX, item, judge, line, sized, slugs
from trays import companions
from trays.matching import (
    CompanionRule,
    Item,
    SizeOf,
    WantedLine,
)

# Companions


def test_kinds_are_named_as_in_the_catalogue() -> None:
    assert [companions.BARREL, companions.SHEATH, companions.SEAL] == [PartKind.BARREL, PartKind.SHEATH, PartKind.SEAL]


def set_of(size: SizeOf) -> list[Item]:
    return [sized("barrel", size), sized("sheath", size), sized("seal", size)]


def lines_for(items: list[Item]) -> tuple[WantedLine, ...]:
    return tuple(line(position, one.part_code) for position, one in enumerate(items, start=1))


def test_a_barrel_with_its_sheath_and_seal_is_whole() -> None:
    items = set_of(FIVE)
    assert judge(*items, lines=lines_for(items), rules=(RULE,)).complete


@pytest.mark.parametrize("kind", ["sheath", "seal"])
def test_a_barrel_without_its_companion_stops(kind: str) -> None:
    items = [one for one in set_of(FIVE) if one.kind != kind]
    count = judge(*items, lines=lines_for(items), rules=(RULE,))
    (finding,) = count.stops
    assert finding.slug == f"{kind}-missing"
    assert finding.sentence == (
        f"Cannot finish the tray with Adult 5.0: 0 of 1 × {kind} of this size on the tray, must be 1."
    )
    assert finding.remedy == f"Scan a {kind} of size 5.0."


@pytest.mark.parametrize("kind", ["sheath", "seal"])
def test_a_companion_of_another_size_names_both_sizes(kind: str) -> None:
    items = [one for one in set_of(FIVE) if one.kind != kind]
    wrong = sized(kind, FIVE_HALF)
    count = judge(*items, wrong, lines=lines_for(items), rules=(RULE,))
    (finding,) = count.findings
    assert (finding.slug, finding.severity, finding.subject) == (f"{kind}-other-size", Severity.STOP, wrong.code)
    assert finding.numbers == {"kind": kind, "series": "A", "size": "5.0", "found_size": "5.5"}
    assert "is of size 5.5, must be of size 5.0" in finding.sentence


@pytest.mark.parametrize("kind", ["sheath", "seal"])
def test_a_companion_without_its_barrel_stops(kind: str) -> None:
    lone = sized(kind, SIX)
    count = judge(lone, lines=lines_for([lone]), rules=(RULE,))
    (finding,) = count.stops
    assert (finding.slug, finding.subject) == (f"{kind}-orphan", lone.code)
    assert "no barrel of this size is on the tray, one must be" in finding.sentence


def test_of_several_sheaths_of_other_sizes_the_nearest_stands_in_the_place() -> None:
    barrel = sized("barrel", FIVE)
    rule = CompanionRule("A", "Adult", wants_seal=False)
    found = judge(barrel, sized("sheath", SIX), sized("sheath", FIVE_HALF), rules=(rule,)).stops
    assert [(finding.slug, finding.subject) for finding in found] == [
        ("sheath-other-size", "sheath-5.5"),
        ("sheath-orphan", "sheath-6.0"),
    ]


def test_every_barrel_wants_a_sheath_of_its_own() -> None:
    rule = CompanionRule("A", "Adult", wants_seal=False)
    count = judge(sized("barrel", FIVE, "b1"), sized("barrel", FIVE, "b2"), sized("sheath", FIVE), rules=(rule,))
    (finding,) = count.stops
    assert finding.numbers == {"kind": "sheath", "series": "A", "size": "5.0", "wanted": 2, "found": 1}


def test_a_second_sheath_that_no_line_lists_is_held_against_the_size_that_lacks_one() -> None:
    rule = CompanionRule("A", "Adult", wants_seal=False)
    barrels = [sized("barrel", FIVE), sized("barrel", SIX)]
    sheaths = [sized("sheath", SIX, "s1"), sized("sheath", SIX, "s2")]
    count = judge(*barrels, *sheaths, lines=lines_for(barrels), rules=(rule,))
    assert [(finding.slug, finding.subject) for finding in count.findings] == [("sheath-other-size", "s2")]


def test_a_second_sheath_that_a_line_lists_is_in_its_place() -> None:
    rule = CompanionRule("A", "Adult", wants_seal=False)
    barrels = [sized("barrel", FIVE), sized("barrel", SIX)]
    sheaths = [sized("sheath", SIX, "s1"), sized("sheath", SIX, "s2")]
    lines = (*lines_for(barrels), line(3, "sheath 6.0", 2))
    assert slugs(judge(*barrels, *sheaths, lines=lines, rules=(rule,))) == ["sheath-missing"]


def test_a_second_sheath_that_nothing_calls_for_is_surplus() -> None:
    rule = CompanionRule("A", "Adult", wants_seal=False)
    count = judge(sized("barrel", FIVE), sized("sheath", FIVE, "s1"), sized("sheath", FIVE, "s2"), rules=(rule,))
    assert [(finding.slug, finding.subject) for finding in count.findings] == [
        ("surplus", "barrel-5.0"),
        ("surplus", "s2"),
    ]


def test_a_companion_that_only_a_rule_calls_for_is_no_surplus() -> None:
    items = set_of(FIVE)
    count = judge(*items, lines=lines_for(items[:1]), rules=(RULE,))
    assert count.complete
    assert count.positions == {"barrel-5.0": 1}


def test_the_rule_stands_beside_an_optional_line() -> None:
    """The sheath is optional on the list, but its barrel is there: the tray may not go out without it."""
    barrel = sized("barrel", FIVE)
    lines = (line(1, "barrel 5.0"), line(2, "sheath 5.0", essential=False))
    count = judge(barrel, lines=lines, rules=(CompanionRule("A", "Adult", wants_seal=False),))
    assert slugs(count) == ["missing-line", "sheath-missing"]
    assert [finding.slug for finding in count.stops] == ["sheath-missing"]


def test_an_optional_barrel_left_out_takes_its_companions_with_it() -> None:
    lines = (line(1, "barrel 5.0", essential=False), line(2, "sheath 5.0", essential=False))
    rule = CompanionRule("A", "Adult", wants_seal=False)
    assert [finding.slug for finding in judge(sized("sheath", FIVE), lines=lines, rules=(rule,)).stops] == [
        "sheath-orphan"
    ]
    assert judge(lines=lines, rules=(rule,)).stops == ()


def test_every_size_of_a_range_wants_its_companions_whatever_barrels_are_there() -> None:
    rule = CompanionRule("A", "Adult", (FIVE, FIVE_HALF, SIX))
    items = [*set_of(FIVE), sized("sheath", SIX)]
    count = judge(*items, rules=(rule,))
    assert [(finding.slug, finding.subject) for finding in count.stops] == [
        ("sheath-missing", "Adult 5.5"),
        ("seal-missing", "Adult 5.5"),
        ("seal-missing", "Adult 6.0"),
    ]


def test_other_series_and_pieces_without_a_size_are_left_alone() -> None:
    child = SizeOf("C", 1, "3.0")
    loose = item("loose", "sheath", kind="sheath")
    count = judge(sized("barrel", child), loose, rules=(RULE,))
    assert count.stops == ()
