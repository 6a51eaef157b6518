"""Companions: each barrel with the sheath and the seal of its own size, and none of these without its barrel."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from journal.findings import Finding, Severity

BARREL = "barrel"
SHEATH = "sheath"
SEAL = "seal"


@dataclass(frozen=True, slots=True)
class SizeOf:
    """A step of a series: the series' code, the step's order and its nominal label."""

    series: str
    order: int
    label: str


@dataclass(frozen=True, slots=True)
class Sized:
    """A piece as the companion rules see it.

    Args:
        code: the piece's own code.
        kind: kind of part.
        size: its size in a series; None where it has none.
    """

    code: str
    kind: str
    size: SizeOf | None


@dataclass(frozen=True, slots=True)
class CompanionRule:
    """Which companions a series wants on a tray.

    Args:
        series: code of the series.
        series_name: what a person calls it.
        sizes: sizes whose companions must be there whatever barrels are; empty for those present only.
        wants_sheath: each size needs its sheath.
        wants_seal: each size needs its seal.

    Raises:
        ValueError: a size of another series.
    """

    series: str
    series_name: str
    sizes: tuple[SizeOf, ...] = ()
    wants_sheath: bool = True
    wants_seal: bool = True

    def __post_init__(self) -> None:
        if any(size.series != self.series for size in self.sizes):
            raise ValueError(f"A size of the range is not of series {self.series}.")

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of companion that the series wants."""
        return tuple(kind for kind, wants in ((SHEATH, self.wants_sheath), (SEAL, self.wants_seal)) if wants)


@dataclass(slots=True)
class _Tally:
    """One kind of companion of one series: how many each size calls for, which are there, which are spare.

    `early` are those whose barrel the list still waits for: they are in nobody's place.
    """

    rule: CompanionRule
    kind: str
    called: Mapping[SizeOf, int]
    there: Mapping[SizeOf, Sequence[Sized]]
    spare: list[Sized]
    early: list[Sized]


def judge_companions(
    rules: Iterable[CompanionRule],
    pieces: Iterable[Sized],
    listed: Container[str],
    awaited: Container[SizeOf] = (),
) -> tuple[tuple[Finding, ...], frozenset[str]]:
    """Whether each barrel has the sheath and seal of its size, and each of these its barrel.

    Every barrel present calls for one of each; a size of a rule's range calls for one even when its
    barrel is absent. What is spare (its size calls for none, or for fewer and no line lists it) is held
    against the nearest size that lacks one: then it is there in its place. A companion whose barrel the
    list still waits for is only early: it forbids finishing, too, but it is not held against another size.

    Args:
        rules: at most one for each series.
        pieces: what lies on the tray, in the order of preference among equals.
        listed: codes of the pieces that serve a line of the list.
        awaited: sizes of the barrels that lines of the list still lack.

    Returns:
        Findings of severity stop, and the codes of the companions that they or the rules account for.
    """
    everything = tuple(pieces)
    findings: list[Finding] = []
    explained: set[str] = set()
    for rule in rules:
        for kind in rule.kinds:
            tally = _tally(rule, kind, everything, listed, awaited)
            kept = {piece.code for found in tally.there.values() for piece in found}
            explained |= kept - {piece.code for piece in (*tally.spare, *tally.early)}
            for finding, code in _against(tally):
                findings.append(finding)
                explained.add(code)
    return tuple(findings), frozenset(explained)


def _tally(
    rule: CompanionRule,
    kind: str,
    pieces: Sequence[Sized],
    listed: Container[str],
    awaited: Container[SizeOf],
) -> _Tally:
    barrels = _by_size(rule, BARREL, pieces)
    there = _by_size(rule, kind, pieces)
    called = {size: max(1, len(barrels.get(size, ()))) for size in {*barrels, *rule.sizes}}
    spare: list[Sized] = []
    early: list[Sized] = []
    for size, found in there.items():
        in_turn = sorted(found, key=lambda piece: piece.code not in listed)
        beyond = in_turn[called.get(size, 0) :]
        if size not in called and size in awaited:
            early += beyond
        else:
            spare += [piece for piece in beyond if size not in called or piece.code not in listed]
    return _Tally(rule, kind, called, there, spare, early)


def _by_size(rule: CompanionRule, kind: str, pieces: Iterable[Sized]) -> dict[SizeOf, list[Sized]]:
    found: dict[SizeOf, list[Sized]] = {}
    for piece in pieces:
        if piece.kind == kind and piece.size is not None and piece.size.series == rule.series:
            found.setdefault(piece.size, []).append(piece)
    return found


def _against(tally: _Tally) -> Iterator[tuple[Finding, str]]:
    """Findings, each with the code of the companion it is about, or an empty one."""
    spare = list(tally.spare)
    for size in sorted(tally.called, key=lambda size: size.order):
        lacking = tally.called[size] - len(tally.there.get(size, ()))
        while lacking > 0 and spare:
            wrong = min(spare, key=lambda piece: (_steps(piece, size), piece.code))
            spare.remove(wrong)
            lacking -= 1
            yield _other_size(tally, size, wrong), wrong.code
        if lacking > 0:
            yield _missing(tally, size, lacking), ""
    for piece in sorted((*spare, *tally.early), key=lambda piece: (_order(piece), piece.code)):
        if piece.size not in tally.called:
            yield _orphan(tally, piece), piece.code


def _steps(piece: Sized, size: SizeOf) -> int:
    return abs(_order(piece) - size.order)


def _order(piece: Sized) -> int:
    assert piece.size is not None  # noqa: S101 - _by_size lets only sized pieces in
    return piece.size.order


def _label(piece: Sized) -> str:
    assert piece.size is not None  # noqa: S101 - _by_size lets only sized pieces in
    return piece.size.label


def _missing(tally: _Tally, size: SizeOf, lacking: int) -> Finding:
    wanted = tally.called[size]
    return Finding(
        f"{tally.kind}-missing",
        Severity.STOP,
        f"{tally.rule.series_name} {size.label}",
        f"Cannot finish the tray with {tally.rule.series_name} {size.label}: "
        f"{wanted - lacking} of {wanted} × {tally.kind} of this size on the tray, must be {wanted}.",
        f"Scan a {tally.kind} of size {size.label}.",
        {"kind": tally.kind, "series": size.series, "size": size.label, "wanted": wanted, "found": wanted - lacking},
    )


def _other_size(tally: _Tally, size: SizeOf, wrong: Sized) -> Finding:
    return Finding(
        f"{tally.kind}-other-size",
        Severity.STOP,
        wrong.code,
        f"Cannot finish the tray with {tally.rule.series_name} {size.label}: "
        f"{tally.kind} {wrong.code} is of size {_label(wrong)}, must be of size {size.label}.",
        f"Take {wrong.code} off and scan a {tally.kind} of size {size.label}.",
        {"kind": tally.kind, "series": size.series, "size": size.label, "found_size": _label(wrong)},
    )


def _orphan(tally: _Tally, piece: Sized) -> Finding:
    return Finding(
        f"{tally.kind}-orphan",
        Severity.STOP,
        piece.code,
        f"Cannot finish the tray with {tally.kind} {piece.code} of {tally.rule.series_name} {_label(piece)}: "
        "no barrel of this size is on the tray, one must be.",
        f"Scan the barrel of size {_label(piece)}, or take {piece.code} off.",
        {"kind": BARREL, "series": tally.rule.series, "size": _label(piece)},
    )
