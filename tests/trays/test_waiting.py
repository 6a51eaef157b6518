"""What a tray waits for, apart from what is wrong on it."""

from __future__ import annotations

from typing import Any

from instruments.life import Wear
from tests.trays.counting import FIVE, FIVE_HALF, RULE, SIX, item, judge, sized, slugs
from trays.matching import CompanionRule, Item, TrayCount, WantedLine
from trays.waiting import sort_out

SHEATHS = CompanionRule("A", "Adult", wants_seal=False)
RANGE = CompanionRule("A", "Adult", (FIVE, SIX))


def lines(*items: Item, **fields: Any) -> tuple[WantedLine, ...]:
    """A line for each piece, with the kind and size of its part."""
    return tuple(
        WantedLine(position, one.part_code, one.part_name, kind=one.kind, size=one.size, **fields)
        for position, one in enumerate(items, start=1)
    )


def hinders(count: TrayCount) -> bool:
    return bool(count.stops) or any(lack.essential for lack in count.lacks)


def test_an_empty_tray_waits_for_its_lines_and_nothing_is_wrong() -> None:
    whole = [sized(kind, size) for size in (FIVE, SIX) for kind in ("barrel", "sheath", "seal")]
    count = judge(lines=lines(*whole), rules=(RANGE,))
    assert len(count.stops) == 4
    waiting = sort_out(count)
    assert (waiting.needed, waiting.companions, waiting.wrong) == (frozenset(range(1, 7)), (), ())
    assert waiting.to_lay == 6


def test_a_companion_that_no_line_lists_is_named_by_its_rule() -> None:
    barrel = sized("barrel", FIVE)
    waiting = sort_out(judge(barrel, lines=lines(barrel), rules=(RULE,)))
    assert [(one.kind, one.size, one.quantity, one.where) for one in waiting.companions] == [
        ("sheath", "Adult 5.0", 1, ""),
        ("seal", "Adult 5.0", 1, ""),
    ]
    assert (waiting.wrong, waiting.to_lay) == ((), 2)


def test_a_line_that_lacks_fewer_than_the_rule_leaves_the_rest_to_the_rule() -> None:
    barrels = [sized("barrel", FIVE, "b1"), sized("barrel", FIVE, "b2")]
    listed = lines(sized("sheath", FIVE))
    waiting = sort_out(judge(*barrels, lines=listed, rules=(SHEATHS,)))
    assert waiting.needed == {1}
    assert [one.quantity for one in waiting.companions] == [1]


def test_an_optional_line_is_needed_once_its_barrel_lies_there() -> None:
    barrel, sheath = sized("barrel", FIVE), sized("sheath", FIVE)
    listed = lines(barrel, sheath, essential=False)
    assert sort_out(judge(lines=listed, rules=(SHEATHS,))).needed == frozenset()
    assert sort_out(judge(barrel, lines=listed, rules=(SHEATHS,))).needed == {2}


def test_a_sheath_before_its_barrel_waits_for_it_and_stands_in_nobodys_place() -> None:
    """Without the list the sheath 6.0 would be held against the barrel 5.0."""
    five, six = [sized("barrel", size) for size in (FIVE, SIX)]
    sheath = sized("sheath", SIX)
    assert "sheath-other-size" in slugs(judge(five, sheath, rules=(SHEATHS,)))
    for essential in (True, False):
        count = judge(five, sheath, lines=lines(five, six, sheath, essential=essential), rules=(SHEATHS,))
        assert [finding.slug for finding in count.stops] == ["sheath-missing", "sheath-orphan"]
        waiting = sort_out(count)
        assert waiting.wrong == ()
        assert waiting.needed == {2}
        assert [one.size for one in waiting.companions] == ["Adult 5.0"]


def test_what_no_further_piece_puts_right_is_wrong() -> None:
    barrel, wrong = sized("barrel", FIVE), sized("sheath", FIVE_HALF)
    worn = item("worn", wear=Wear("worn", cycles=5, life_limit=5))
    count = judge(barrel, wrong, worn, lines=lines(barrel), rules=(SHEATHS,))
    assert [finding.slug for finding in sort_out(count).wrong] == ["sheath-other-size", "life-limit-reached"]
    alone = judge(sized("seal", SIX), rules=(RULE,))
    assert [finding.slug for finding in sort_out(alone).wrong] == ["seal-orphan"]


def test_nothing_that_hinders_is_taken_back() -> None:
    whole = [sized(kind, size) for size in (FIVE, SIX) for kind in ("barrel", "sheath", "seal")]
    for mask in range(1 << len(whole)):
        laid = [one for place, one in enumerate(whole) if mask >> place & 1]
        for rules in ((RULE,), (RANGE,), ()):
            count = judge(*laid, lines=lines(*whole, essential=False), rules=rules)
            waiting = sort_out(count)
            assert bool(waiting.wrong or waiting.to_lay) == hinders(count)
