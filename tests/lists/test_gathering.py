"""A tray that is not packed: what can fill it, what keeps it waiting, what lacks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from instruments.life import Wear
from journal.findings import Severity
from lists.gathering import Gathered, Loose, Pool, SizeKey, gather
from lists.stages import Stage
from tests.lists.test_stages import NOW, TIMES, minutes
from trays.matching import Alternative, CompanionRule, Item, SizeOf, Wanted, WantedLine

FIVE, SIX = SizeOf("AD", 1, "5.0"), SizeOf("AD", 2, "6.0")


def item(code: str, part: str = "SUCTION", **fields: Any) -> Item:
    values: dict[str, Any] = {
        "kind": "suction",
        "size": None,
        "part_name": part.capitalize(),
        "mass_g": 10.0,
        "programmes": frozenset({"S134"}),
        "wear": Wear(code),
        **fields,
    }
    return Item(code=code, part_code=part, **values)


@dataclass(frozen=True)
class Lying:
    """A piece with its whereabouts."""

    item: Item
    where: str
    stage: Stage | None
    since: datetime | None = None
    last_tray: str = ""

    @property
    def code(self) -> str:
        return self.item.code

    @property
    def part_code(self) -> str:
        return self.item.part_code

    @property
    def sized(self) -> SizeKey | None:
        size = self.item.size
        return (self.item.kind, size.series, size.label) if size else None


def loose(code: str, part: str = "SUCTION", stage: Stage | None = Stage.INSPECTED, **fields: Any) -> Loose:
    own = {name: fields.pop(name) for name in ("since", "last_tray") if name in fields}
    return Lying(item(code, part, **fields), f"{stage or 'in repair'} in Store A", stage, **own)


def line(part: str = "SUCTION", quantity: int = 1, *, position: int = 1, **fields: Any) -> WantedLine:
    return WantedLine(position, part, part.capitalize(), quantity, **fields)


def fill(
    *lines: WantedLine,
    pool: tuple[Loose, ...] = (),
    placed: tuple[Item, ...] = (),
    rules: tuple[CompanionRule, ...] = (),
    waiting: tuple[str, ...] = ("T1",),
) -> Gathered:
    filled = gather(
        "T1",
        "Tray 1",
        Wanted(lines, rules, 10_000.0),
        placed,
        Pool(pool, now=NOW, today=NOW.date(), times=TIMES),
        waiting=frozenset(waiting),
    )
    lacks = [one.finding("Tray 1") for one in filled.lacking]
    return replace(
        filled,
        stops=(*(one for one in lacks if one.severity is Severity.STOP), *filled.stops),
        looks=(*(one for one in lacks if one.severity is Severity.LOOK), *filled.looks),
    )


def codes(filled: Gathered) -> list[str]:
    return [row.item.code for row in filled.taken]


def test_what_can_be_ready_first_is_taken_and_the_slowest_keeps_the_tray_waiting() -> None:
    pool = (loose("P1", stage=Stage.RETURNED), loose("P2", stage=Stage.INSPECTED), loose("P3", stage=Stage.IN_WASHER))
    filled = fill(line(quantity=2), pool=pool)
    assert codes(filled) == ["P2", "P3"]
    assert filled.slowest is not None
    assert filled.slowest.item.code == "P3"
    assert (filled.stops, filled.looks) == ((), ())


def test_a_washer_that_has_run_for_long_is_nearer_than_one_that_has_just_begun() -> None:
    pool = (
        loose("P1", stage=Stage.IN_WASHER, since=NOW - minutes(5)),
        loose("P2", stage=Stage.IN_WASHER, since=NOW - minutes(70)),
    )
    assert codes(fill(line(), pool=pool)) == ["P2"]


def test_the_lines_own_part_comes_before_a_substitute_however_near() -> None:
    wanted = line(substitutes=(Alternative("OTHER", "Other", "same tip"),))
    pool = (loose("P1", "OTHER"), loose("P2", stage=Stage.RETURNED))
    assert codes(fill(wanted, pool=pool)) == ["P2"]
    assert codes(fill(wanted, pool=pool[:1])) == ["P1"]


def test_one_piece_does_not_fill_two_lines() -> None:
    first = line("A", substitutes=(Alternative("S", "S", "fits"),))
    second = line("B", position=2, substitutes=(Alternative("S", "S", "fits"),))
    filled = fill(first, second, pool=(loose("P1", "S"),))
    assert codes(filled) == ["P1"]
    assert [finding.subject for finding in filled.stops] == ["B"]


def test_pieces_of_another_waiting_tray_come_last() -> None:
    pool = (loose("P1", last_tray="T2"), loose("P2", stage=Stage.RETURNED, last_tray="T1"))
    assert codes(fill(line(), pool=pool, waiting=("T1", "T2"))) == ["P2"]
    assert codes(fill(line(), pool=pool, waiting=("T1",))) == ["P1"]


def test_what_lies_on_the_tray_is_counted_and_what_is_to_come_is_named() -> None:
    filled = fill(line(quantity=2), placed=(item("P1"),), pool=(loose("P2"),))
    assert codes(filled) == ["P2"]
    (look,) = filled.looks
    assert look.words == "Suction lacks on Tray 1; P2 is inspected in Store A. Put it on the tray."
    washed = fill(line(quantity=2), placed=(item("P1"),), pool=(loose("P2", stage=Stage.CLEANED),))
    assert washed.looks[0].remedy == "Have it made ready."


def test_a_full_tray_waits_for_nothing() -> None:
    filled = fill(line(), placed=(item("P1"),), pool=(loose("P2"),))
    assert (filled.taken, filled.slowest, filled.stops, filled.looks) == ((), None, (), ())


def test_what_nothing_can_fill_says_where_the_others_are() -> None:
    filled = fill(line(), pool=(loose("P1", stage=None),))
    (stop,) = filled.stops
    assert stop.severity is Severity.STOP
    assert stop.words == "Suction lacks on Tray 1: 0 of 1 can be had. P1 is in repair in Store A."
    assert fill(line()).stops[0].remedy == "The unit has no other: borrow one."


def test_only_three_of_many_are_named() -> None:
    filled = fill(line(), pool=tuple(loose(f"P{number}", stage=None) for number in range(5)))
    assert filled.stops[0].remedy.count("in repair") == 3


def test_an_optional_line_lacks_without_stopping() -> None:
    filled = fill(line(essential=False))
    assert filled.stops == ()
    assert [(finding.slug, finding.severity) for finding in filled.looks] == [("piece-lacks", Severity.LOOK)]


@pytest.mark.parametrize(
    ("wear", "stage", "taken"),
    [
        ({"cycles": 10, "life_limit": 10}, Stage.RETURNED, False),
        ({"service_due": NOW.date() - timedelta(days=1)}, Stage.INSPECTED, False),
        ({"needs_function_test": True}, Stage.CLEANED, True),  # its test is still to come
        ({"needs_insulation_test": True}, Stage.INSPECTED, False),  # it was inspected without
    ],
)
def test_what_may_not_be_packed_is_not_to_be_had(wear: dict[str, Any], stage: Stage, *, taken: bool) -> None:
    filled = fill(line(), pool=(loose("P1", stage=stage, wear=Wear("P1", **wear)),))
    assert bool(filled.taken) is taken


# Companions

RULE = CompanionRule("AD", "Adult")


def barrel(code: str, size: SizeOf = FIVE) -> Item:
    return item(code, f"BARREL-{size.label}", kind="barrel", size=size)


def companion(code: str, kind: str, size: SizeOf = FIVE, **fields: Any) -> Loose:
    return loose(code, f"{kind.upper()}-{size.label}", kind=kind, size=size, **fields)


def test_a_barrel_is_given_the_sheath_and_seal_of_its_own_size() -> None:
    pool = (companion("S6", "sheath", SIX), companion("S5", "sheath"), companion("C5", "seal"), loose("P1"))
    filled = fill(line("BARREL-5.0"), placed=(barrel("B5"),), pool=pool, rules=(RULE,))
    assert sorted(codes(filled)) == ["C5", "S5"]
    assert filled.stops == ()


def test_a_barrel_whose_seal_is_not_to_be_had_stops_the_tray() -> None:
    pool = (companion("S5", "sheath"), companion("C5", "seal", stage=None))
    filled = fill(line("BARREL-5.0"), placed=(barrel("B5"),), pool=pool, rules=(RULE,))
    assert [finding.slug for finding in filled.stops] == ["seal-missing"]


def test_a_sheath_of_another_size_is_named_as_it_lies() -> None:
    wrong = companion("S6", "sheath", SIX).item
    pool = (companion("S5", "sheath"), companion("C5", "seal"))
    lines = (line("BARREL-5.0"), line("SHEATH-5.0", position=2))
    filled = fill(*lines, placed=(barrel("B5"), wrong), pool=pool, rules=(RULE,))
    assert [(finding.slug, finding.subject) for finding in filled.stops] == [("sheath-other-size", "S6")]


def test_stops_that_no_piece_can_cure_remain() -> None:
    alone = item("P2", "LENS", programmes=frozenset({"LT"}))
    filled = fill(line(), line("LENS", position=2), placed=(item("P1"), alone), pool=())
    assert [finding.slug for finding in filled.stops] == ["no-programme"]
