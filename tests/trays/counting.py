"""Pieces, lines and counts as the pure rules of a tray see them."""

from __future__ import annotations

from datetime import date

from instruments.life import Wear
from trays.matching import (
    Alternative,
    CompanionRule,
    Item,
    SizeOf,
    TrayCount,
    Wanted,
    WantedLine,
    judge_tray,
)

TODAY = date(2026, 11, 24)
FIVE, FIVE_HALF, SIX = (SizeOf("A", order, label) for order, label in enumerate(("5.0", "5.5", "6.0"), start=1))
RULE = CompanionRule("A", "Adult")


def item(code: str, part: str = "X", **fields: object) -> Item:
    values: dict[str, object] = {
        "part_code": part,
        "part_name": f"Part {part}",
        "kind": "other",
        "size": None,
        "mass_g": 100.0,
        "programmes": frozenset({"S134"}),
        "wear": Wear(code),
        **fields,
    }
    return Item(code=code, **values)  # type: ignore[arg-type]


def sized(kind: str, size: SizeOf, code: str = "") -> Item:
    """A barrel, sheath or seal of a size; its part is named for both."""
    return item(code or f"{kind}-{size.label}", f"{kind} {size.label}", kind=kind, size=size)


def line(position: int, part: str, quantity: int = 1, *substitutes: str, essential: bool = True) -> WantedLine:
    others = tuple(Alternative(code, f"Part {code}", "serves as well") for code in substitutes)
    return WantedLine(position, part, f"Part {part}", quantity, essential, others)


def judge(*items: Item, lines: tuple[WantedLine, ...] = (), rules: tuple[CompanionRule, ...] = ()) -> TrayCount:
    return judge_tray(Wanted(lines, rules, 10_000), items, TODAY)


def slugs(count: TrayCount) -> list[str]:
    return [finding.slug for finding in count.findings]
