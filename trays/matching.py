"""A tray against its list: completeness, companions by size, one programme, weight, and each piece's life."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from instruments.life import Wear, fit_to_pack
from journal.findings import Finding, Severity, stops
from trays.assignment import assign
from trays.companions import BARREL, CompanionRule, Sized, SizeOf, judge_companions

__all__ = [
    "MISSING_LINE",
    "TAKE_APART",
    "Alternative",
    "CompanionRule",
    "Item",
    "Lack",
    "LineCount",
    "SizeOf",
    "TrayCount",
    "Wanted",
    "WantedLine",
    "judge_tray",
]

MISSING_LINE = "missing-line"  # slug of the finding that a line lacks something
TAKE_APART = "take-apart"  # slug of the finding that a part is washed and sterilised in pieces


@dataclass(frozen=True, slots=True)
class Alternative:
    """A part that may stand in for a line's own, with the reason."""

    part_code: str
    part_name: str
    reason: str


@dataclass(frozen=True, slots=True)
class WantedLine:
    """One line of the list.

    Args:
        position: its number on the list.
        part_code: the part wanted.
        part_name: what a person calls it.
        quantity: how many pieces.
        essential: whether the tray may not go out without it.
        substitutes: parts that may stand in, the best liked first.
        kind: kind of the part.
        size: its size in a series; None where it has none.

    Raises:
        ValueError: quantity below one.
    """

    position: int
    part_code: str
    part_name: str
    quantity: int = 1
    essential: bool = True
    substitutes: tuple[Alternative, ...] = ()
    kind: str = ""
    size: SizeOf | None = None

    def __post_init__(self) -> None:
        if self.quantity < 1:
            raise ValueError(f"Line {self.position} wants {self.quantity} pieces, must want 1 or more.")

    @property
    def ranks(self) -> dict[str, int]:
        """Parts that may serve the line, the best first: 0 for its own, then the substitutes in order."""
        parts = dict.fromkeys([self.part_code, *(other.part_code for other in self.substitutes)])
        return {part: rank for rank, part in enumerate(parts)}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a tray must hold.

    Args:
        lines: the list.
        rules: which series want sheath and seal of the barrel's size.
        mass_limit_g: greatest total mass [g].

    Raises:
        ValueError: two lines share a position, or the limit is not above zero.
    """

    lines: tuple[WantedLine, ...]
    rules: tuple[CompanionRule, ...]
    mass_limit_g: float

    def __post_init__(self) -> None:
        if len({line.position for line in self.lines}) < len(self.lines):
            raise ValueError("Two lines share a position.")
        if self.mass_limit_g <= 0:
            raise ValueError("The mass limit must be above 0.")


@dataclass(frozen=True, slots=True)
class Item(Sized):
    """A piece that lies on the tray.

    Args:
        code: the piece's own code.
        part_code: its part.
        part_name: what a person calls the part.
        kind: kind of part ("barrel", "sheath", "seal" and others).
        size: its size in a series; None where it has none.
        mass_g: its mass [g]; None = not measured.
        programmes: codes of the sterilising programmes validated for its part.
        wear: what the rules of its life ask for.
        take_apart: what of it is taken apart for wash and sterilising; empty for nothing.
    """

    part_code: str
    part_name: str
    mass_g: float | None
    programmes: frozenset[str]
    wear: Wear
    take_apart: str = ""


@dataclass(frozen=True, slots=True)
class Lack:
    """What a line lacks."""

    part_code: str
    part_name: str
    quantity: int
    essential: bool


@dataclass(frozen=True, slots=True)
class LineCount:
    """A line and the pieces that serve it."""

    line: WantedLine
    present: tuple[Item, ...]

    @property
    def lacking(self) -> int:
        """How many pieces lack."""
        return self.line.quantity - len(self.present)

    @property
    def done(self) -> bool:
        """Whether nothing lacks."""
        return self.lacking == 0


@dataclass(frozen=True, slots=True)
class TrayCount:
    """The judgement on a tray.

    Args:
        rows: the lines in order, each with the pieces that serve it.
        findings: everything found.
        lacks: what lines lack; whoever finishes the tray decides whether it may go out so.
        positions: line of each piece that serves one, by the piece's code.
    """

    rows: tuple[LineCount, ...]
    findings: tuple[Finding, ...]
    lacks: tuple[Lack, ...]
    positions: Mapping[str, int]

    @property
    def stops(self) -> tuple[Finding, ...]:
        """What forbids finishing, whoever signs; a lacking line alone does not."""
        return stops(self.findings)

    @property
    def complete(self) -> bool:
        """Whether nothing lacks and nothing forbids."""
        return not self.lacks and not self.stops


def judge_tray(wanted: Wanted, items: Iterable[Item], today: date) -> TrayCount:
    """Count a tray against its list and say what is wrong with it.

    The order of the pieces plays no part. A piece serves the line of its own part or one that names the
    part as a substitute; essential lines are served first, and as many lines as can be.

    A companion rule stands beside the lines: a barrel that is present wants its sheath and seal even when
    the list has these as optional, and a sheath whose barrel is absent forbids finishing even when the
    list has that barrel as optional. A companion that no line lists, but that a rule calls for, belongs
    to the tray and serves no line.

    It ignores fit by dimensions, and whether a piece belongs to a closed set: that is asked when a piece
    is laid on the tray.

    Args:
        wanted: list, rules and limits.
        items: the pieces on the tray.
        today: the day in the unit's time zone.

    Returns:
        Rows, findings, lacks and the line of each piece. Missing lines are looks; companions of another
        size, missing or without their barrel, no common programme, too much mass and whatever ends a
        piece's life are stops; pieces too many are looks; masses not measured, and parts that are taken
        apart for wash and sterilising, are notes.

    Raises:
        ValueError: the same piece twice.
    """
    pieces = sorted(items, key=lambda item: item.code)
    if len({item.code for item in pieces}) < len(pieces):
        raise ValueError("The same piece lies on the tray twice.")
    positions = _positions(wanted.lines, pieces)
    rows = tuple(
        LineCount(line, tuple(item for item in pieces if positions.get(item.code) == line.position))
        for line in sorted(wanted.lines, key=lambda line: line.position)
    )
    awaited = {row.line.size for row in rows if not row.done and row.line.kind == BARREL and row.line.size}
    companions, explained = judge_companions(wanted.rules, pieces, positions, awaited)
    findings = (
        *(_missing(row) for row in rows if not row.done),
        *companions,
        *_one_programme(pieces),
        *_mass(pieces, wanted.mass_limit_g),
        *(finding for item in pieces for finding in fit_to_pack(item.wear, today)),
        *_too_many(wanted.lines, [item for item in pieces if item.code not in {*positions, *explained}]),
        *_take_apart(pieces),
    )
    lacks = tuple(
        Lack(row.line.part_code, row.line.part_name, row.lacking, row.line.essential) for row in rows if not row.done
    )
    return TrayCount(rows, findings, lacks, positions)


def _positions(lines: Iterable[WantedLine], pieces: Sequence[Item]) -> dict[str, int]:
    in_turn = sorted(lines, key=lambda line: (not line.essential, line.position))
    slots = [line for line in in_turn for _ in range(line.quantity)]
    ranks = {line.position: line.ranks for line in in_turn}
    serves = assign([ranks[line.position] for line in slots], [item.part_code for item in pieces])
    return {pieces[piece].code: slots[slot].position for piece, slot in sorted(serves.items())}


def _missing(row: LineCount) -> Finding:
    line = row.line
    others = "; ".join(f"{other.part_name} ({other.reason})" for other in line.substitutes)
    return Finding(
        MISSING_LINE,
        Severity.LOOK,
        line.part_name,
        f"Line {line.position} lacks {row.lacking} × {line.part_name}: "
        f"{len(row.present)} of {line.quantity} on the tray.",
        "Scan it in" + (f", or a substitute: {others}." if others else "."),
        {"line": line.position, "needed": line.quantity, "present": len(row.present), "part": line.part_code},
    )


def _too_many(lines: Iterable[WantedLine], pieces: Iterable[Item]) -> Iterator[Finding]:
    """Pieces that serve no line: their lines are full, the own one named first, or no line wants them."""
    listed: dict[str, int] = {}
    for _, position, part in sorted(
        (rank, line.position, part) for line in lines for part, rank in line.ranks.items()
    ):
        listed.setdefault(part, position)
    for item in pieces:
        full = item.part_code in listed
        why = f"line {listed[item.part_code]} has all it wants" if full else "no line wants it"
        yield Finding(
            "duplicate" if full else "surplus",
            Severity.LOOK,
            item.code,
            f"{item.part_name} {item.code} is too many: {why}.",
            f"Take {item.code} off.",
        )


def _take_apart(pieces: Iterable[Item]) -> Iterator[Finding]:
    """Once for each part, however many pieces of it lie there."""
    for item in {item.part_code: item for item in pieces if item.take_apart}.values():
        yield Finding(
            TAKE_APART,
            Severity.NOTE,
            item.part_name,
            f"{item.part_name} goes through wash and steriliser taken apart: {item.take_apart}.",
            "Look that it is, before the tray is closed.",
            {"part": item.part_code},
        )


def _one_programme(pieces: Iterable[Item]) -> Iterator[Finding]:
    """One tray, one programme: some programme must be validated for every part on it."""
    parts = {item.part_code: item for item in pieces}
    votes = {
        code: [part for part, item in parts.items() if code in item.programmes]
        for code in sorted({code for item in parts.values() for code in item.programmes})
    }
    best = max(votes, key=lambda code: len(votes[code]), default="")
    suited = votes.get(best, [])
    alone = ", ".join(sorted(item.part_name for part, item in parts.items() if part not in suited))
    if not alone:
        return
    found = f"{best} is validated for {len(suited)} of {len(parts)} parts" if best else "none is validated"
    yield Finding(
        "no-programme",
        Severity.STOP,
        alone,
        f"Cannot sterilise the tray in one programme: {found}, must be for all. Not for: {alone}.",
        "Take these off and pack them by themselves, or have their validation recorded.",
        {"parts": len(parts), "suited": len(suited)},
    )


def _mass(pieces: Iterable[Item], limit_g: float) -> Iterator[Finding]:
    masses = {item.code: item.mass_g for item in pieces}
    total = math.fsum(mass for mass in masses.values() if mass is not None)
    unknown = [code for code, mass in masses.items() if mass is None]
    if total > limit_g:
        yield Finding(
            "too-heavy",
            Severity.STOP,
            "tray",
            f"Cannot finish the tray: it weighs {_grams(total)}, must be at most {_grams(limit_g)}.",
            "Divide its contents between two trays.",
            {"mass_g": round(total, 1), "limit_g": limit_g},
        )
    if unknown:
        yield Finding(
            "mass-not-measured",
            Severity.NOTE,
            "tray",
            f"The mass of {len(unknown)} of {len(masses)} pieces is not recorded: "
            f"the tray weighs {_grams(total)} without them.",
            "Weigh the tray.",
            {"pieces": len(unknown), "mass_g": round(total, 1)},
        )


def _grams(mass_g: float) -> str:
    return f"{mass_g:.1f}".removesuffix(".0") + "\N{NO-BREAK SPACE}g"
