"""A template proves itself: could a tray be assembled to this list, sterilised, and used?

The list is judged as if a tray lay there complete, with its own parts: one programme for all, weight, companions
of each series, pieces enough. Whether the parts go with each other by their dimensions is asked of
`instruments`, and its findings are taken as they are.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from instruments.fit import SEVERITIES, WORST_FIRST, Fit, Judgement
from instruments.life import Wear
from journal.findings import Finding, Severity
from trays.companions import BARREL, CompanionRule, SizeOf
from trays.matching import Item, Wanted, WantedLine, judge_tray

ANY_DAY = date.min
"""Pieces that are only thought of have no dates."""

NOT_WEIGHED = "mass-not-measured"
OF_THE_WHOLE = frozenset({"no-programme", "too-heavy", NOT_WEIGHED})
"""What of the judgement on a complete tray is true of its list; the companions of a list are judged here."""


@dataclass(frozen=True, slots=True)
class KnownPart:
    """A part of the catalogue as the proof sees it.

    Args:
        code: its code.
        name: what a person calls it.
        kind: kind of part.
        size: its size in a series; None where it has none.
        mass_g: its mass [g]; None = not measured.
        programmes: codes of the sterilising programmes validated for it.
        owned: pieces of it that the unit has, wherever they are.
    """

    code: str
    name: str
    kind: str
    size: SizeOf | None
    mass_g: float | None
    programmes: frozenset[str]
    owned: int


def prove(
    wanted: Wanted,
    parts: Mapping[str, KnownPart],
    made: Collection[tuple[str, SizeOf]],
    trays: int,
    fit: Iterable[Finding] = (),
) -> tuple[Finding, ...]:
    """Everything that speaks against putting a list in force.

    It ignores wear, tests, closed sets and where pieces are: those are asked when a piece is laid.

    Args:
        wanted: the list.
        parts: every part that a line or a substitute names, by code.
        made: kind and size of every part of the catalogue that has a size.
        trays: trays of this template in service; 0 is proved as one.
        fit: what the rules of fit find of the parts of the list.

    Returns:
        Stops (no tray could ever be assembled to it, or be used), then looks (a person must know), each
        kind in the order of the rules. Empty when nothing speaks against it.

    Raises:
        ValueError: a part of the list is not among the parts.
    """
    if missing := {code for line in wanted.lines for code in line.ranks} - set(parts):
        raise ValueError(f"The proof was not given the parts {', '.join(sorted(missing))}.")
    found = (
        *_whole(wanted, parts),
        *_other_programme(wanted.lines, parts),
        *(finding for rule in wanted.rules for finding in _rule(rule, wanted.lines, parts, made)),
        *_owned(wanted.lines, parts, max(trays, 1)),
        *(finding for finding in fit if finding.severity is not Severity.NOTE),
    )
    weights = (Severity.STOP, Severity.LOOK)
    return tuple(finding for weight in weights for finding in found if finding.severity is weight)


def _whole(wanted: Wanted, parts: Mapping[str, KnownPart]) -> Iterator[Finding]:
    """One programme and the weight, by the rules of the bench for a tray on which nothing lacks."""
    for finding in judge_tray(wanted, _complete(wanted.lines, parts), ANY_DAY).findings:
        if finding.slug == NOT_WEIGHED:
            unknown = dict.fromkeys(
                parts[line.part_code].name for line in wanted.lines if parts[line.part_code].mass_g is None
            )
            remedy = f"Weigh {', '.join(unknown)}, or look at the weight of the first tray."
            yield replace(finding, severity=Severity.LOOK, remedy=remedy)
        elif finding.slug in OF_THE_WHOLE:
            yield finding


def _complete(lines: Iterable[WantedLine], parts: Mapping[str, KnownPart]) -> Iterator[Item]:
    for line in lines:
        part = parts[line.part_code]
        for count in range(1, line.quantity + 1):
            code = f"{part.code} ({count})"
            yield Item(
                code=code,
                kind=part.kind,
                size=part.size,
                part_code=part.code,
                part_name=part.name,
                mass_g=part.mass_g,
                programmes=part.programmes,
                wear=Wear(code),
            )


def _other_programme(lines: Iterable[WantedLine], parts: Mapping[str, KnownPart]) -> Iterator[Finding]:
    """Substitutes that share no programme with the rest of the tray."""
    lines = tuple(lines)
    for line in lines:
        rest = [parts[other.part_code].programmes for other in lines if other is not line]
        shared = frozenset.intersection(*rest) if rest else parts[line.part_code].programmes
        for code in list(line.ranks)[1:]:
            stands_in = parts[code]
            if shared and not shared & stands_in.programmes:
                yield Finding(
                    "substitute-no-programme",
                    Severity.LOOK,
                    stands_in.name,
                    f"{stands_in.name} on line {line.position} is validated for none of the programmes of the rest: "
                    f"{', '.join(sorted(shared))}.",
                    "A tray that holds it is stopped at the bench. Drop it, or have its validation recorded.",
                    {"line": line.position},
                )


def _rule(
    rule: CompanionRule,
    lines: Iterable[WantedLine],
    parts: Mapping[str, KnownPart],
    made: Collection[tuple[str, SizeOf]],
) -> Iterator[Finding]:
    listed: dict[str, dict[SizeOf, int]] = {}
    for line in lines:
        part = parts[line.part_code]
        if part.size is not None and part.size.series == rule.series:
            of_kind = listed.setdefault(part.kind, {})
            of_kind[part.size] = of_kind.get(part.size, 0) + line.quantity
    barrels = listed.get(BARREL, {})
    called = sorted({*rule.sizes, *barrels}, key=lambda size: size.order)
    for size in called:
        for kind in (BARREL, *rule.kinds):
            yield from _companion(rule, kind, size, listed.get(kind, {}).get(size, 0), barrels.get(size, 1), made)
    for kind in rule.kinds:
        for size in sorted(set(listed.get(kind, {})) - set(called), key=lambda size: size.order):
            yield Finding(
                f"{kind}-without-barrel",
                Severity.STOP,
                f"{rule.series_name} {size.label}",
                f"Cannot assemble to this list: it has a {kind} of {rule.series_name} {size.label}, "
                "must have the barrel of this size too.",
                "Add the barrel, or remove the line.",
                {"size": size.label},
            )


def _companion(
    rule: CompanionRule, kind: str, size: SizeOf, listed: int, wanted: int, made: Collection[tuple[str, SizeOf]]
) -> Iterator[Finding]:
    name = f"{rule.series_name} {size.label}"
    if (kind, size) not in made:
        yield Finding(
            f"{kind}-not-made",
            Severity.STOP,
            name,
            f"Cannot fulfil the rule of {rule.series_name}: the catalogue has no {kind} of size {size.label}, "
            "must have one.",
            "Enter the part, or narrow the rule.",
            {"size": size.label},
        )
    elif listed < wanted:
        yield Finding(
            f"{kind}-not-listed",
            Severity.LOOK,
            name,
            f"The rule of {rule.series_name} wants {wanted} × {kind} of size {size.label}; the list has {listed}.",
            f"Add a line for the {kind}, or it must be remembered at the bench.",
            {"size": size.label, "wanted": wanted, "found": listed},
        )


def _owned(lines: Iterable[WantedLine], parts: Mapping[str, KnownPart], trays: int) -> Iterator[Finding]:
    in_turn = sorted(lines, key=lambda line: (not line.essential, line.position))
    short = _short(in_turn, {code: part.owned for code, part in parts.items()}, trays)
    for line in sorted(in_turn, key=lambda line: line.position):
        if short.get(line.position):
            wanted = line.quantity * trays
            of = f"{trays} trays" if trays > 1 else "one tray"
            yield Finding(
                "too-few-owned",
                Severity.LOOK,
                line.part_name,
                f"Line {line.position} wants {wanted} × {line.part_name} for {of}; the unit has "
                f"{wanted - short[line.position]} for it, substitutes counted.",
                "Enter the pieces, name a substitute, or know that not every tray can be complete at once.",
                {"line": line.position, "wanted": wanted, "found": wanted - short[line.position]},
            )


def _short(in_turn: Iterable[WantedLine], owned: Mapping[str, int], trays: int) -> dict[int, int]:
    """What each line lacks when the pieces are shared out as well as can be (augmenting paths).

    A piece that two lines could use is counted for one of them. Lines come in the order in which they are
    to be served.
    """
    spare = dict(owned)
    given: dict[int, dict[str, int]] = {}
    ranks = {line.position: tuple(line.ranks) for line in in_turn}
    short: dict[int, int] = {}
    for line in in_turn:
        lacking = line.quantity * trays
        given[line.position] = dict.fromkeys(ranks[line.position], 0)
        while lacking and (path := _path(line.position, ranks, given, spare)):
            goes, comes = path[::2], path[1::2]
            pushed = min(lacking, spare[goes[-1][1]], *(given[at][part] for at, part in comes))
            for at, part in goes:
                given[at][part] += pushed
            for at, part in comes:
                given[at][part] -= pushed
            spare[goes[-1][1]] -= pushed
            lacking -= pushed
        short[line.position] = lacking
    return short


def _path(
    start: int,
    ranks: Mapping[int, tuple[str, ...]],
    given: Mapping[int, Mapping[str, int]],
    spare: Mapping[str, int],
) -> list[tuple[int, str]]:
    """A shortest way from a line to a part with pieces to spare, over parts that other lines give up.

    Returns:
        Line and part by turns of what is taken and what is given up for it; empty when there is no way.
    """
    came: dict[str, list[tuple[int, str]]] = {}
    queue: deque[tuple[int, list[tuple[int, str]]]] = deque([(start, [])])
    while queue:
        at, way = queue.popleft()
        for part in ranks[at]:
            if part in came:
                continue
            came[part] = [*way, (at, part)]
            if spare[part] > 0:
                return came[part]
            holders = [other for other, holds in given.items() if other != at and holds.get(part)]
            queue.extend((other, [*came[part], (other, part)]) for other in holders)
    return []


def nearest(name: str, tries: Iterable[tuple[str, Judgement]]) -> Finding | None:
    """What stands in a part's way with the thing of the list that suits it best; None when one suits.

    Args:
        name: the part.
        tries: what it was tried with, and how it goes with that; the first that fits ends it.

    Returns:
        A stop when it goes with none, a look when the tolerances decide or something is not measured. None
        too when there was nothing to try it with.
    """
    best: tuple[str, Judgement] | None = None
    for other, judgement in tries:
        if judgement.fit is Fit.FITS:
            return None
        if best is None or WORST_FIRST.index(judgement.fit) > WORST_FIRST.index(best[1].fit):
            best = other, judgement
    if best is None:
        return None
    other, judgement = best
    weight = SEVERITIES[judgement.fit]
    why = next((finding for finding in judgement.findings if finding.severity is weight), None)
    sentence = f"Nothing on the list suits {name} for certain; the nearest is {other}."
    return Finding(
        "fit-" + judgement.fit.replace(" ", "-"),
        weight,
        name,
        f"{sentence} {why.sentence}" if why else sentence,
        why.remedy if why else "",
        {} if why is None else why.numbers,
    )
