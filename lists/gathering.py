"""A tray that is not packed: which pieces can fill it, which of them keeps it waiting, and what lacks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Protocol

from instruments.life import fit_to_pack
from journal.findings import Finding, Severity
from lists.stages import Stage, StageTimes, ready_at
from trays.matching import Item, LineCount, Wanted, judge_tray

PLACES_NAMED = 3
"""So many pieces that are not to be had are named with their whereabouts."""

SizeKey = tuple[str, str, str]
"""Kind of part, series and label of a size."""


class Loose(Protocol):
    """A piece that is in no pack, or one that is not to be had; its item is asked only when a tray is offered it."""

    @property
    def code(self) -> str:
        """Its own code."""

    @property
    def part_code(self) -> str:
        """Its part."""

    @property
    def sized(self) -> SizeKey | None:
        """Kind, series and size of its part; None where that has no size."""

    @property
    def item(self) -> Item:
        """The piece as the rules of a tray see it."""

    @property
    def where(self) -> str:
        """Its state and place in words."""

    @property
    def stage(self) -> Stage | None:
        """Where it stands in the loop; None when it is not to be had (in repair, in another pack)."""

    @property
    def since(self) -> datetime | None:
        """When its present step began, where it runs by itself."""

    @property
    def last_tray(self) -> str:
        """Code of the tray it was packed with last; else empty."""


class Pool:
    """Pieces that are in no live pack, by part and by size: what can be ready first before what cannot.

    Args:
        loose: the pieces, to be had or not.
        now: the moment of asking.
        today: the day of that moment in the unit's time zone.
        times: how long the steps take [min].
    """

    def __init__(self, loose: Collection[Loose], *, now: datetime, today: date, times: StageTimes) -> None:
        self.now, self.today, self.times = now, today, times
        self.known: dict[str, list[Loose]] = defaultdict(list)
        self.of_part: dict[str, list[Loose]] = defaultdict(list)
        self.of_size: dict[SizeKey, list[Loose]] = defaultdict(list)
        self._moments: dict[tuple[Stage | None, datetime | None], datetime] = {}
        self._fit: dict[str, bool] = {}
        by_code = sorted(loose, key=lambda one: one.code)
        for one in by_code:
            self.known[one.part_code].append(one)
        for one in sorted((one for one in by_code if one.stage is not None), key=self.earliest):
            self.of_part[one.part_code].append(one)
            if one.sized is not None:
                self.of_size[one.sized].append(one)

    def earliest(self, loose: Loose) -> datetime:
        """When a piece can be sterile."""
        stands = loose.stage, loose.since
        if stands not in self._moments:
            stage, since = stands
            self._moments[stands] = ready_at(stage or Stage.IN_USE, now=self.now, times=self.times, since=since)
        return self._moments[stands]

    def is_fit(self, loose: Loose) -> bool:
        """Whether nothing forbids packing a piece, the tests of its inspection apart."""
        if loose.code not in self._fit:
            self._fit[loose.code] = not fit_to_pack(_as_inspected(loose).wear, self.today)
        return self._fit[loose.code]


@dataclass(frozen=True, slots=True)
class Lacking:
    """A line that nothing can fill, and the pieces of its parts in the pool, by code."""

    row: LineCount
    known: tuple[Loose, ...]

    def finding(self, tray: str, elsewhere: Iterable[Loose] = ()) -> Finding:
        """What lacks, and where the pieces are that would serve.

        Args:
            tray: what a person calls the tray.
            elsewhere: pieces that are not in the pool and might serve.
        """
        line = self.row.line
        suited = [loose for loose in elsewhere if loose.part_code in line.ranks]
        others = sorted((*self.known, *suited), key=lambda loose: loose.code)[:PLACES_NAMED]
        said = "; ".join(f"{loose.code} is {loose.where}" for loose in others)
        return Finding(
            "piece-lacks",
            Severity.STOP if line.essential else Severity.LOOK,
            line.part_name,
            f"{line.part_name} lacks on {tray}: {len(self.row.present)} of {line.quantity} can be had.",
            f"{said}." if said else "The unit has no other: borrow one.",
            {"lacking": self.row.lacking, "part": line.part_code},
        )


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a tray can be filled with.

    Args:
        taken: pieces from the pool that it needs.
        slowest: the piece that keeps it waiting; None when everything lies on it.
        lacking: the lines that nothing can fill.
        stops: what else forbids it to be finished.
        looks: what else to see to.
    """

    taken: tuple[Loose, ...]
    slowest: Loose | None
    lacking: tuple[Lacking, ...]
    stops: tuple[Finding, ...]
    looks: tuple[Finding, ...]


def gather(
    tray: str,
    name: str,
    wanted: Wanted,
    placed: Sequence[Item],
    pool: Pool,
    *,
    waiting: frozenset[str],
    free: Callable[[Loose], bool] = lambda _: True,
) -> Gathered:
    """Fill a tray from the pool, line by line, then companions, with what can be ready first.

    Pieces that another waiting tray held last are taken only when nothing else is left. One tray at a
    time: what it takes, the caller calls free no longer.

    Args:
        tray: the tray's code.
        name: what a person calls it.
        wanted: its list.
        placed: the pieces that lie on it.
        pool: the pieces that are in no live pack.
        waiting: codes of the trays that wait to be filled.
        free: whether a piece may go on the tray: none that was taken, or that belongs to another closed set.

    Returns:
        Pieces, the slowest of them, the lines that nothing can fill, and whatever forbids the tray as it would be.
    """
    taken = _fill(wanted, placed, pool, waiting - {tray}, free)
    as_it_lies = judge_tray(wanted, placed, pool.today)
    count = judge_tray(wanted, [*placed, *map(_as_inspected, taken)], pool.today)
    # What is wrong with a piece on the tray is said as it lies: of another size, rather than beside none.
    lying = {finding.subject: finding for finding in as_it_lies.stops}
    return Gathered(
        taken=tuple(taken),
        slowest=max(taken, key=pool.earliest, default=None),
        lacking=tuple(_lacking(row, pool, free) for row in count.rows if not row.done),
        stops=tuple(lying.get(finding.subject, finding) for finding in count.stops),
        looks=tuple(_not_on_it(loose, name) for loose in taken if placed),
    )


def _fill(
    wanted: Wanted, placed: Sequence[Item], pool: Pool, others: frozenset[str], free: Callable[[Loose], bool]
) -> list[Loose]:
    """What fills the lines, and then the companions that still lack; no piece twice."""
    taken: list[Loose] = []

    def first(offers: Iterable[Loose], many: int) -> list[Loose]:
        gone = {loose.code for loose in taken}
        best: list[Loose] = []
        last: list[Loose] = []
        for loose in offers:
            if len(best) == many:
                break
            if loose.code not in gone and free(loose) and pool.is_fit(loose):
                (last if loose.last_tray in others else best).append(loose)
        return [*best, *last][:many]

    for row in judge_tray(wanted, placed, pool.today).rows:
        left = row.lacking
        for part in sorted(row.line.ranks, key=row.line.ranks.__getitem__):
            found = first(pool.of_part.get(part, ()), left)
            taken += found
            left -= len(found)
    for finding in judge_tray(wanted, [*placed, *map(_as_inspected, taken)], pool.today).stops:
        size, many = _companion(finding, wanted)
        taken += first(pool.of_size.get(size, ()), many)
    return taken


def _lacking(row: LineCount, pool: Pool, free: Callable[[Loose], bool]) -> Lacking:
    known = (loose for part in row.line.ranks for loose in pool.known.get(part, ()) if free(loose))
    return Lacking(row, tuple(sorted(known, key=lambda loose: loose.code)))


def _as_inspected(loose: Loose) -> Item:
    """The piece as it will be at the bench: the tests of its inspection are still to come."""
    if loose.stage is Stage.INSPECTED:
        return loose.item
    wear = replace(loose.item.wear, needs_function_test=False, needs_insulation_test=False)
    return replace(loose.item, wear=wear)


def _companion(finding: Finding, wanted: Wanted) -> tuple[SizeKey, int]:
    """Kind, series and size of a missing companion, and how many; none for any other finding."""
    kind, _, missing = finding.slug.partition("-")
    series = {f"{rule.series_name} {finding.numbers.get('size')}": rule.series for rule in wanted.rules}
    if missing != "missing" or finding.subject not in series:
        return ("", "", ""), 0
    many = int(finding.numbers["wanted"]) - int(finding.numbers["found"])
    return (kind, series[finding.subject], str(finding.numbers["size"])), many


def _not_on_it(loose: Loose, tray: str) -> Finding:
    item = loose.item
    return Finding(
        "piece-to-come",
        Severity.LOOK,
        item.code,
        f"{item.part_name} lacks on {tray}; {item.code} is {loose.where}.",
        "Put it on the tray." if loose.stage is Stage.INSPECTED else "Have it made ready.",
    )
