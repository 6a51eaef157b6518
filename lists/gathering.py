"""A tray that is not packed: which pieces can fill it, which of them keeps it waiting, and what lacks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from instruments.life import fit_to_pack
from journal.findings import Finding, Severity
from lists.stages import Stage, StageTimes, ready_at
from trays.matching import Item, LineCount, Wanted, judge_tray

PLACES_NAMED = 3
"""So many pieces that are not to be had are named with their whereabouts."""


@dataclass(frozen=True, slots=True)
class Loose:
    """A piece that is in no pack, or one that is not to be had.

    Args:
        item: the piece as the rules of a tray see it.
        where: its state and place in words.
        stage: where it stands in the loop; None when it is not to be had (in repair, in another pack).
        since: when its present step began, where it runs by itself.
        last_tray: code of the tray it was packed with last; else empty.
    """

    item: Item
    where: str
    stage: Stage | None
    since: datetime | None = None
    last_tray: str = ""


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a tray can be filled with.

    Args:
        taken: pieces from the pool that it needs.
        slowest: the piece that keeps it waiting; None when everything lies on it.
        stops: why it cannot be finished.
        looks: what else to see to.
    """

    taken: tuple[Loose, ...]
    slowest: Loose | None
    stops: tuple[Finding, ...]
    looks: tuple[Finding, ...]


def gather(
    tray: str,
    name: str,
    wanted: Wanted,
    placed: Sequence[Item],
    pool: Sequence[Loose],
    *,
    waiting: frozenset[str],
    now: datetime,
    today: date,
    times: StageTimes,
) -> Gathered:
    """Fill a tray from the pool, line by line, then companions, with what can be ready first.

    Pieces that another waiting tray held last are taken only when nothing else is left. One tray at a
    time: what it takes, the caller takes from the pool. It ignores closed sets: the caller offers only
    what may go on the tray.

    Args:
        tray: the tray's code.
        name: what a person calls it.
        wanted: its list.
        placed: the pieces that lie on it.
        pool: pieces of the parts that it wants, to be had or not.
        waiting: codes of the trays that wait to be filled.
        now: the moment of asking.
        today: the day of that moment in the unit's time zone.
        times: how long the steps take [min].

    Returns:
        Pieces, the slowest of them, and what stands against finishing: an essential line or a companion
        that nothing can fill, and whatever forbids the tray as it would be.
    """

    def earliest(loose: Loose) -> datetime:
        stage = loose.stage or Stage.IN_USE
        return ready_at(stage, now=now, times=times, since=loose.since)

    def liked(loose: Loose) -> tuple[bool, datetime, str]:
        return loose.last_tray in waiting - {tray}, earliest(loose), loose.item.code

    offers = sorted((loose for loose in pool if _to_be_had(loose, today)), key=liked)
    taken = _fill(wanted, placed, offers, today)
    as_it_lies = judge_tray(wanted, placed, today)
    count = judge_tray(wanted, [*placed, *map(_as_inspected, taken)], today)
    lacking = [row for row in count.rows if not row.done]
    # What is wrong with a piece on the tray is said as it lies: of another size, rather than beside none.
    lying = {finding.subject: finding for finding in as_it_lies.stops}
    stops = [lying.get(finding.subject, finding) for finding in count.stops]
    return Gathered(
        taken=tuple(taken),
        slowest=max(taken, key=earliest, default=None),
        stops=(*(_lacks(row, name, pool) for row in lacking if row.line.essential), *stops),
        looks=(
            *(_lacks(row, name, pool) for row in lacking if not row.line.essential),
            *(_not_on_it(loose, name) for loose in taken if placed),
        ),
    )


def _fill(wanted: Wanted, placed: Sequence[Item], offers: Sequence[Loose], today: date) -> list[Loose]:
    """What fills the lines, and then the companions that still lack; no piece twice."""
    taken: list[Loose] = []
    for row in judge_tray(wanted, placed, today).rows:
        taken += _for_line(row, _without(offers, taken))
    for finding in judge_tray(wanted, [*placed, *map(_as_inspected, taken)], today).stops:
        taken += _companion(finding, wanted, _without(offers, taken))
    return taken


def _without(offers: Iterable[Loose], taken: Iterable[Loose]) -> list[Loose]:
    gone = {loose.item.code for loose in taken}
    return [loose for loose in offers if loose.item.code not in gone]


def _as_inspected(loose: Loose) -> Item:
    """The piece as it will be at the bench: the tests of its inspection are still to come."""
    if loose.stage is Stage.INSPECTED:
        return loose.item
    wear = replace(loose.item.wear, needs_function_test=False, needs_insulation_test=False)
    return replace(loose.item, wear=wear)


def _to_be_had(loose: Loose, today: date) -> bool:
    return loose.stage is not None and not fit_to_pack(_as_inspected(loose).wear, today)


def _for_line(row: LineCount, offers: Sequence[Loose]) -> list[Loose]:
    """What fills a line: its own part first, then its substitutes in order."""
    ranks = row.line.ranks
    suited = [loose for loose in offers if loose.item.part_code in ranks]
    return sorted(suited, key=lambda loose: ranks[loose.item.part_code])[: row.lacking]


def _companion(finding: Finding, wanted: Wanted, offers: Sequence[Loose]) -> list[Loose]:
    """What fills a missing companion: pieces of its kind and size."""
    kind, _, missing = finding.slug.partition("-")
    series = {f"{rule.series_name} {finding.numbers.get('size')}": rule.series for rule in wanted.rules}
    if missing != "missing" or finding.subject not in series:
        return []
    suited = [
        loose
        for loose in offers
        if loose.item.kind == kind
        and loose.item.size is not None
        and (loose.item.size.series, loose.item.size.label) == (series[finding.subject], finding.numbers["size"])
    ]
    return suited[: int(finding.numbers["wanted"]) - int(finding.numbers["found"])]


def _lacks(row: LineCount, tray: str, pool: Iterable[Loose]) -> Finding:
    """A line that nothing can fill, and where the pieces of its parts are."""
    line = row.line
    others = [f"{loose.item.code} is {loose.where}" for loose in pool if loose.item.part_code in line.ranks]
    remedy = "; ".join(others[:PLACES_NAMED]) + "." if others else "The unit has no other: borrow one."
    return Finding(
        "piece-lacks",
        Severity.STOP if line.essential else Severity.LOOK,
        line.part_name,
        f"{line.part_name} lacks on {tray}: {len(row.present)} of {line.quantity} can be had.",
        remedy,
        {"lacking": row.lacking, "part": line.part_code},
    )


def _not_on_it(loose: Loose, tray: str) -> Finding:
    item = loose.item
    return Finding(
        "piece-to-come",
        Severity.LOOK,
        item.code,
        f"{item.part_name} lacks on {tray}; {item.code} is {loose.where}.",
        "Put it on the tray." if loose.stage is Stage.INSPECTED else "Have it made ready.",
    )
