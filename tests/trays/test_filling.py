"""Completing the trays of a unit: what each lacks as it lies, which piece goes where, and is it truly complete."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from instruments.life import Wear
from trays.companions import CompanionRule, SizeOf
from trays.filling import BenchTray, Filling, OnHand, as_it_lies, fill
from trays.matching import Alternative, Item, Wanted, WantedLine, judge_tray

TODAY = date(2026, 11, 24)
HEAVY_G = 600.0


def item(part: str, code: str = "", *, kind: str = "other", size: str = "", **fields: Any) -> Item:
    """A piece of a part; `size` as one of series S."""
    wear = Wear(code, **{name: fields.pop(name) for name in ("cycles", "life_limit", "service_due") if name in fields})
    values = {"mass_g": 100.0, "programmes": frozenset({"S134"}), **fields}
    of = SizeOf("S", int(size), size) if size else None
    return Item(code, kind, of, part, f"Part {part}", wear=wear, **values)


def wanted(*parts: str, rules: tuple[CompanionRule, ...] = (), others: str = "") -> Wanted:
    """A list of these parts; a part said twice is wanted twice; `others` may stand in for the first."""
    lines = [
        WantedLine(
            number, part, f"Part {part}", parts.count(part),
            substitutes=tuple(Alternative(other, f"Part {other}", "serves") for other in others if number == 1),
        )
        for number, part in enumerate(dict.fromkeys(parts), start=1)
    ]  # fmt: skip
    return Wanted(tuple(lines), rules, 1000.0)


def bench(code: str, *items: Item, of: Wanted | None, template: str = "T", **fields: Any) -> BenchTray:
    return BenchTray(code, f"Tray {code}", template, of, items, **fields)


def filled(trays: list[BenchTray], shelf: list[OnHand], parts: list[Item], **needed: int) -> Filling:
    """The answer, each tray of it judged once more by the rule of the bench."""
    known = {one.part_code: one for one in parts}
    found = fill(trays, shelf, needed or {"T": 9}, known, today=TODAY, longest_s=60)
    for row in found.filled:
        assert row.lying.tray.wanted is not None
        assert judge_tray(row.lying.tray.wanted, [*row.lying.kept, *(move.item for move in row.moves)], TODAY).complete
    assert len({move.item.code for move in found.moves}) == len(found.moves)
    return found


def codes(found: Filling) -> list[tuple[str, str, str]]:
    """Piece, source and tray of each move."""
    return [(move.item.code, move.donor.code if move.donor else move.place, move.tray.code) for move in found.moves]


A, B, C = item("A"), item("B"), item("C")


def test_a_piece_comes_from_the_shelf_and_from_a_tray_that_stays_incomplete() -> None:
    near = bench("1", item("C", "C1"), of=wanted("A", "B", "C"))
    donor = bench("2", item("B", "B1"), of=wanted("B", "X"), template="U")
    found = filled([near, donor], [OnHand(item("A", "A1"), "Store")], [A, B, C, item("X")], T=1)
    assert codes(found) == [("A1", "Store", "1"), ("B1", "2", "1")]
    assert (found.ready, found.short, found.proven) == ((), (), True)
    assert [move.to.line for move in found.moves] == [1, 2]


def test_a_complete_tray_is_ready_and_gives_nothing() -> None:
    trays = [bench("1", item("A", "A1"), of=wanted("A")), bench("2", of=wanted("A"))]
    found = filled(trays, [], [A], T=2)
    assert ([row.tray.code for row in found.ready], found.filled) == (["1"], ())
    (short,) = found.short
    assert [empty.part_name for empty in short.empty] == ["Part A"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (OnHand(item("A", "Z"), "Home"), OnHand(item("A", "Y"), "Far")),
        (OnHand(item("A", "Z"), "Far"), OnHand(item("A", "Y"))),
        (OnHand(item("A", "Z", cycles=1)), OnHand(item("A", "Y", cycles=2))),
        (OnHand(item("A", "Z")), OnHand(item("A", "Y", service_due=date(2027, 1, 1)))),
        (
            OnHand(item("A", "Z", service_due=date(2027, 2, 1))),
            OnHand(item("A", "Y", service_due=date(2027, 1, 1))),
        ),
        (OnHand(item("A", "X")), OnHand(item("A", "Y"))),
    ],
    ids=["own place", "recorded place", "cycles", "no service", "later service", "code"],
)
def test_which_piece_of_a_part_goes(first: OnHand, second: OnHand) -> None:
    for shelf in ([first, second], [second, first]):
        found = filled([bench("1", of=wanted("A"), home="Home")], shelf, [A])
        assert [move.item for move in found.moves] == [first.item]


def test_a_substitute_is_said_to_stand_in() -> None:
    (move,) = filled([bench("1", of=wanted("A", others="B"))], [OnHand(item("B", "B1"))], [A]).moves
    assert move.instead
    assert move.to.part_name == "Part A"


def test_a_closed_set_neither_gives_nor_takes_but_its_own() -> None:
    shut = bench("1", item("B", "B1"), of=wanted("A", "B"), closed=True)
    needy = bench("2", of=wanted("B"), template="U")
    foreign, own = OnHand(item("A", "A1")), OnHand(item("A", "A2"), set_of="1")
    assert filled([shut, needy], [foreign], [A, B], T=1, U=1).filled == ()
    assert codes(filled([shut, needy], [foreign, own], [A, B], T=1, U=1)) == [("A2", "", "1")]
    assert filled([bench("3", of=wanted("A"))], [own], [A]).filled == ()


def test_what_a_closed_set_may_not_hold_comes_off_and_is_free_for_nobody() -> None:
    shut = bench("1", item("A", "A1"), of=wanted("A"), closed=True, foreign=frozenset({"A1"}))
    found = filled([shut, bench("2", of=wanted("A"), template="U")], [], [A], T=1, U=1)
    assert found.filled == ()
    assert [finding.slug for finding in as_it_lies(shut, {"A": A}, TODAY).off] == ["closed-set"]


def test_a_worn_piece_comes_off_and_is_replaced() -> None:
    tray = bench("1", item("A", "A1", cycles=5, life_limit=5), of=wanted("A"))
    found = filled([tray, bench("2", of=wanted("A"))], [OnHand(item("A", "A2"))], [A], T=1)
    assert codes(found) == [("A2", "", "1")]
    assert [finding.slug for finding in found.filled[0].lying.off] == ["life-limit-reached"]


def test_what_is_too_many_on_a_tray_serves_another_even_if_the_tray_is_complete() -> None:
    giver = bench("1", item("A", "A1"), item("A", "A2"), of=wanted("A"))
    found = filled([giver, bench("2", of=wanted("A"))], [], [A], T=2)
    assert codes(found) == [("A2", "1", "2")]
    assert [row.tray.code for row in found.ready] == ["1"]


def test_a_tray_out_of_service_gives_and_is_not_completed() -> None:
    out = bench("1", item("A", "A1"), of=wanted("A", "B"), in_service=False)
    found = filled([out, bench("2", of=wanted("A"))], [OnHand(item("B", "B1"))], [A, B], T=1)
    assert codes(found) == [("A1", "1", "2")]
    ready = bench("3", item("A", "A3"), of=wanted("A"), in_service=False)
    assert filled([ready], [], [A]).ready == ()


def test_a_tray_without_a_list_gives_and_is_not_completed() -> None:
    unlisted = bench("1", item("A", "A1"), of=None)
    found = filled([unlisted, bench("2", of=wanted("A"), template="U")], [], [A], T=1, U=1)
    assert codes(found) == [("A1", "1", "2")]
    assert [row.stops[0].slug for row in found.short] == ["no-version"]


def test_a_tray_that_would_be_too_heavy_is_left_out_and_its_pieces_serve_another() -> None:
    heavy = item("B", "B1", mass_g=HEAVY_G)
    first = bench("1", item("A", "A1", mass_g=HEAVY_G), of=wanted("A", "B"))
    second = bench("2", of=wanted("B"), template="U")
    found = filled([first, second], [OnHand(heavy)], [A, B], T=1, U=1)
    assert codes(found) == [("B1", "", "2")]
    assert [(row.lying.tray.code, row.stops[0].slug) for row in found.short] == [("1", "too-heavy")]


def test_a_tray_that_is_full_and_yet_forbidden_says_why_and_gives() -> None:
    heavy = bench("1", item("A", "A1", mass_g=HEAVY_G), item("B", "B1", mass_g=HEAVY_G), of=wanted("A", "B"))
    found = filled([heavy, bench("2", of=wanted("A"), template="U")], [], [A, B], T=1, U=1)
    assert codes(found) == [("A1", "1", "2")]
    assert [row.stops[0].slug for row in found.short] == ["too-heavy"]


def test_what_lacks_is_what_nothing_in_reach_fills_and_its_own_pieces_do_not_count() -> None:
    tray = bench("1", item("A", "A1"), of=wanted("A", "A", "B", "C"))
    (short,) = filled([tray], [OnHand(item("B", "B1"))], [A, B, C]).short
    assert [empty.part_name for empty in short.empty] == ["Part A", "Part C"]


def test_of_trays_that_cannot_be_completed_the_nearest_are_told_as_many_as_are_needed() -> None:
    trays = [bench("1", of=wanted("A", "B")), bench("2", item("A", "A1"), of=wanted("A", "B"))]
    assert [row.lying.tray.code for row in filled(trays, [], [A, B], T=1).short] == ["2"]


BARREL, SHEATH = item("BR", kind="barrel", size="5"), item("SH", kind="sheath", size="5")
OTHER = item("SX", kind="sheath", size="6")
RULE = CompanionRule("S", "Adult", wants_seal=False)


def test_a_companion_that_no_line_lists_is_asked_for_with_its_barrel() -> None:
    tray = bench("1", of=wanted("BR", rules=(RULE,)))
    barrel, sheath = item("BR", "P1", kind="barrel", size="5"), item("SH", "P2", kind="sheath", size="5")
    parts = [BARREL, SHEATH, OTHER]
    assert filled([tray], [OnHand(barrel)], parts).filled == ()
    found = filled([tray], [OnHand(barrel), OnHand(sheath)], parts)
    assert [(move.item.code, move.to.line) for move in found.moves] == [("P1", 1), ("P2", 0)]


def test_a_companion_of_another_size_comes_off_and_one_of_the_size_goes_on() -> None:
    """A sheath whose barrel is still to come stays; one of a size that no barrel has is free for others."""
    wrong, right = item("SX", "P3", kind="sheath", size="6"), item("SH", "P4", kind="sheath", size="5")
    tray = bench("1", item("BR", "P1", kind="barrel", size="5"), wrong, of=wanted("BR", rules=(RULE,)))
    other = bench("2", of=wanted("SX"), template="U")
    found = filled([tray, other], [OnHand(right)], [BARREL, SHEATH, OTHER], T=1, U=1)
    assert codes(found) == [("P4", "", "1"), ("P3", "1", "2")]
    alone = bench("3", right, of=wanted("BR", "SH", rules=(RULE,)))
    assert as_it_lies(alone, {"BR": BARREL, "SH": SHEATH}, TODAY).off == ()
