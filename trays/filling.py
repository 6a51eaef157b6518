"""Completing the trays of a real unit: what each lacks as it lies, which piece goes where, and whether that suffices.

`completion.py` chooses among parts; here stand the pieces behind them, and each tray that is offered as complete
was judged with exactly those pieces.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from instruments.life import fit_to_pack
from journal.findings import Finding, stop
from trays.assignment import assign
from trays.completion import CountedTray, Demand, Gap, Placement, complete_trays
from trays.matching import Item, Wanted, judge_tray

TOO_MANY = ("duplicate", "surplus")
WRONG_SIZE = ("-other-size", "-orphan")  # how the slugs of companions end that are to come off
OUT_OF_SERVICE = ""  # template of a tray that is not completed; nobody needs one
NOTHING_FILLS = Gap(-1, ())  # keeps a tray from being completed; it may still give


@dataclass(frozen=True, slots=True)
class BenchTray:
    """A tray that is not packed.

    Args:
        code: what a scanner reads on it.
        name: what a person calls it.
        template: code of what it is a tray of.
        wanted: its list; None = none is published, so it cannot be completed.
        items: what lies on it.
        home: name of its place; empty = not recorded.
        closed: it exchanges no piece with others.
        in_service: whether it may be completed; its pieces may be taken either way.
        foreign: codes of pieces on it that a closed set may not exchange: its own rule, or that of another.
    """

    code: str
    name: str
    template: str
    wanted: Wanted | None
    items: tuple[Item, ...] = ()
    home: str = ""
    closed: bool = False
    in_service: bool = True
    foreign: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class OnHand:
    """An inspected piece that may be laid on a tray.

    Args:
        item: the piece as the rules of a tray see it.
        place: name of its place; empty = not recorded.
        set_of: code of the closed tray that it belongs to; empty = it belongs to none.
        lies_on: the tray that it has to come off; None = it lies on the shelf.
    """

    item: Item
    place: str = ""
    set_of: str = ""
    lies_on: BenchTray | None = None


@dataclass(frozen=True, slots=True)
class Empty:
    """A place on a tray that is empty.

    Args:
        line: number of the line; 0 = a companion that no line lists.
        part_name: what belongs there.
        accepts: codes of the parts that may fill it, its own first.
    """

    line: int
    part_name: str
    accepts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lying:
    """A tray as it lies: what stays on it, what has to come off and why, and what lacks then."""

    tray: BenchTray
    kept: tuple[Item, ...]
    off: tuple[Finding, ...]
    empty: tuple[Empty, ...]
    stops: tuple[Finding, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether nothing has to be placed."""
        return not self.empty and not self.stops


@dataclass(frozen=True, slots=True)
class PieceMove:
    """One piece to move: from a place on the shelf or from another tray, to a place on this one."""

    item: Item
    place: str
    donor: BenchTray | None
    tray: BenchTray
    to: Empty

    @property
    def instead(self) -> bool:
        """Whether it stands in for the part that the line wants."""
        return self.item.part_code != self.to.accepts[0]


@dataclass(frozen=True, slots=True)
class Filled:
    """A tray that can be completed, and with what."""

    lying: Lying
    moves: tuple[PieceMove, ...]


@dataclass(frozen=True, slots=True)
class Short:
    """A needed tray that cannot be completed: what nothing in reach fills, or what forbids it."""

    lying: Lying
    empty: tuple[Empty, ...]
    stops: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Filling:
    """What can be completed of what is needed.

    Args:
        ready: trays on which everything lies that they want.
        filled: trays that can be completed, in the order given.
        short: those that are needed and cannot be, the nearest to complete first.
        proven: whether no better choice exists.
    """

    ready: tuple[Lying, ...]
    filled: tuple[Filled, ...]
    short: tuple[Short, ...]
    proven: bool

    @property
    def moves(self) -> tuple[PieceMove, ...]:
        """Every piece to move, by tray."""
        return tuple(move for row in self.filled for move in row.moves)


def fill(
    trays: Sequence[BenchTray],
    shelf: Sequence[OnHand],
    needed: Mapping[str, int],
    parts: Mapping[str, Item],
    *,
    today: date,
    longest_s: float,
) -> Filling:
    """Choose trays, moves and pieces so that as many needed trays as can be are truly complete.

    The choice of trays and parts is that of `complete_trays`, each tray with a weight of 1. Then the pieces:
    from the shelf the one in the tray's own place first, then those whose place is recorded, then the
    rest; among equals, and from a tray, the one with the fewest cycles, then the latest service date, then the lowest
    code. Each tray is judged with the pieces chosen. One that would not be complete by every rule (sizes,
    one programme, weight) is left out with the reason, and the choice is made anew without it.

    A closed set gives nothing and takes only its own pieces. What lies on a tray and serves no line, or is
    a companion of another size, is free for others. What may not be packed has to come off and is free for nobody.

    Args:
        trays: every tray that is not packed; among equals the earlier is completed.
        shelf: pieces that may be laid.
        needed: how many complete trays are needed of each template, by its code, those on the bench among them.
        parts: every part that a list or a companion rule asks for, as a piece with no history, by its code.
        today: the day in the unit's time zone.
        longest_s: how long to seek each of three measures [s].

    Returns:
        Ready, completable and short trays; moves in the order of trays and lines.
    """
    lying = [as_it_lies(tray, parts, today) for tray in trays]
    barred = {row.tray.code: row.stops for row in lying if row.stops}
    free = [*shelf, *(one for row in lying for one in _loose(row))]
    spare = Counter(_key(one.item, one.set_of) for one in free)
    demands = {template: Demand(count) for template, count in needed.items()}
    while True:
        counted = [_counted(row, barred) for row in lying]
        found = complete_trays(counted, spare, demands, longest_s=longest_s)
        chosen, left = _chosen(found.placements, lying, free)
        filled = [Filled(lying[position], tuple(chosen[position])) for position in found.complete]
        wrong = {row.lying.tray.code: stops for row in filled if (stops := _against(row, today))}
        if not wrong:
            break
        barred |= wrong
    ready = tuple(row for row in lying if row.complete and row.tray.in_service and row.tray.template in needed)
    done = {row.lying.tray.code for row in filled}
    rest = [row for row in lying if not row.complete and row.tray.in_service and row.tray.code not in done]
    counts = Counter(needed) - Counter(row.tray.template for row in (*ready, *(one.lying for one in filled)))
    return Filling(ready, tuple(filled), tuple(_short(rest, counts, barred, left)), found.proven)


def as_it_lies(tray: BenchTray, parts: Mapping[str, Item], today: date) -> Lying:
    """What stays on a tray, what has to come off, and what lacks then, companions that no line lists among it."""
    if tray.wanted is None:
        return Lying(tray, tray.items, (), (), (_unlisted(tray),))
    unfit = {item.code: found for item in tray.items for found in _unfit(item, tray, today)}
    sound = [item for item in tray.items if item.code not in unfit]
    as_full = judge_tray(tray.wanted, [*sound, *_to_come(tray.wanted, sound, parts, today)], today)
    lie_there = {item.code for item in sound}
    beside = [found for found in as_full.findings if _comes_off(found) and found.subject in lie_there]
    off = {found.subject for found in beside}
    kept = tuple(item for item in sound if item.code not in off)
    full = judge_tray(tray.wanted, [*kept, *_to_come(tray.wanted, kept, parts, today)], today)
    empty = (*_lines(tray.wanted, kept, today), *_companions(tray.wanted, full.stops, parts))
    stops = full.stops if not empty else ()
    return Lying(tray, kept, (*unfit.values(), *beside), empty, stops)


def _unfit(item: Item, tray: BenchTray, today: date) -> tuple[Finding, ...]:
    """The first thing that forbids packing a piece with this tray."""
    if item.code in tray.foreign:
        sentence = f"Cannot pack {item.code} with {tray.name}: a closed set exchanges no piece with others."
        return (stop("closed-set", item.code, sentence, f"Take {item.code} off."),)
    return fit_to_pack(item.wear, today)[:1]


def _comes_off(found: Finding) -> bool:
    return found.slug in TOO_MANY or found.slug.endswith(WRONG_SIZE)


def _to_come(wanted: Wanted, items: Collection[Item], parts: Mapping[str, Item], today: date) -> Iterator[Item]:
    """Stand-ins for what the lines lack, so that a companion is not taken for an orphan of a barrel still to come."""
    for row in judge_tray(wanted, items, today).rows:
        for number in range(row.lacking):
            part = parts[row.line.part_code]
            code = f"~{row.line.position}.{number}"  # after every piece, so that pieces go first
            yield Item(code, part.kind, part.size, part.part_code, part.part_name, 0.0, part.programmes, part.wear)


def _lines(wanted: Wanted, kept: Collection[Item], today: date) -> Iterator[Empty]:
    for row in judge_tray(wanted, kept, today).rows:
        for _ in range(row.lacking):
            yield Empty(row.line.position, row.line.part_name, tuple(row.line.ranks))


def _companions(wanted: Wanted, stops: Iterable[Finding], parts: Mapping[str, Item]) -> Iterator[Empty]:
    series = {f"{rule.series_name} {found.numbers['size']}": rule.series for rule in wanted.rules for found in stops
              if "size" in found.numbers}  # fmt: skip
    for found in stops:
        kind, _, missing = found.slug.partition("-")
        if missing != "missing" or found.subject not in series:
            continue
        size = (series[found.subject], found.numbers["size"])
        accepts = tuple(
            code
            for code, part in sorted(parts.items())
            if part.kind == kind and part.size is not None and (part.size.series, part.size.label) == size
        )
        for _ in range(int(found.numbers["wanted"]) - int(found.numbers["found"])):
            yield Empty(0, f"{kind} {found.subject}", accepts)


def _key(item: Item, set_of: str = "") -> str:
    """A part as the choice sees it: that of a closed set's own piece is one by itself."""
    return f"{item.part_code}@{set_of}" if set_of else item.part_code


def _own(code: str, tray: BenchTray) -> str:
    return f"{code}@{tray.code}" if tray.closed else code


def _counted(row: Lying, barred: Collection[str]) -> CountedTray:
    tray = row.tray
    gaps = [Gap(slot, tuple(_own(code, tray) for code in empty.accepts)) for slot, empty in enumerate(row.empty)]
    if tray.code in barred:
        gaps.append(NOTHING_FILLS)
    gives = Counter() if tray.closed else Counter(map(_key, row.kept))
    return CountedTray(tray.template if tray.in_service else OUT_OF_SERVICE, tuple(gaps), gives)


def _loose(row: Lying) -> list[OnHand]:
    """What has to come off a tray and is sound: anybody may have it, unless the set is closed."""
    off = {found.subject for found in row.off if _comes_off(found)}
    items = () if row.tray.closed else row.tray.items
    return [OnHand(item, lies_on=row.tray) for item in items if item.code in off]


def _chosen(
    placements: Sequence[Placement], lying: Sequence[Lying], free: Sequence[OnHand]
) -> tuple[dict[int, list[PieceMove]], list[tuple[str, str]]]:
    """The piece behind each placement, by position of its tray; and what is left: part, and tray that it lies on."""
    loose, held = list(free), [[*row.kept] for row in lying]
    moves: dict[int, list[PieceMove]] = {move.tray: [] for move in placements}
    for move in placements:
        row = lying[move.tray]
        to = row.empty[move.slot]
        if move.donor is None:
            one = min((one for one in loose if _key(one.item, one.set_of) == move.part), key=_nearest(row.tray.home))
            loose.remove(one)
            moves[move.tray].append(PieceMove(one.item, one.place, one.lies_on, row.tray, to))
        else:
            item = min((item for item in held[move.donor] if _key(item) == move.part), key=_freshest)
            held[move.donor].remove(item)
            moves[move.tray].append(PieceMove(item, "", lying[move.donor].tray, row.tray, to))
    left = [(_key(one.item, one.set_of), one.lies_on.code if one.lies_on else "") for one in loose]
    for position, row in enumerate(lying):
        if position not in moves and not row.complete and not row.tray.closed:
            left += [(_key(item), row.tray.code) for item in held[position]]
    return moves, left


def _nearest(home: str) -> Callable[[OnHand], tuple[object, ...]]:
    return lambda one: (not one.place, one.place != home, one.place, *_freshest(one.item))


def _freshest(item: Item) -> tuple[int, bool, int, str]:
    """The fewest cycles first, then the latest service; what needs none is never due."""
    due = item.wear.service_due
    return item.wear.cycles, due is not None, -due.toordinal() if due else 0, item.code


def _against(row: Filled, today: date) -> tuple[Finding, ...]:
    """Whatever forbids a tray once its pieces are on it."""
    wanted = row.lying.tray.wanted
    assert wanted is not None  # noqa: S101 - without a list nothing is placed
    count = judge_tray(wanted, [*row.lying.kept, *(move.item for move in row.moves)], today)
    return count.stops


def _short(
    rest: Sequence[Lying],
    counts: Mapping[str, int],
    barred: Mapping[str, tuple[Finding, ...]],
    left: Sequence[tuple[str, str]],
) -> Iterator[Short]:
    """As many trays of each template as are still needed, those first of which the least lacks."""
    short = []
    for row in rest:
        slots = [{_own(code, row.tray): rank for rank, code in enumerate(empty.accepts)} for empty in row.empty]
        served = set(assign(slots, [key for key, on_tray in left if on_tray != row.tray.code]).values())
        lacks = tuple(empty for slot, empty in enumerate(row.empty) if slot not in served)
        short.append(Short(row, lacks, barred.get(row.tray.code, ())))
    open_counts = dict(counts)
    for one in sorted(short, key=lambda one: (len(one.empty), len(one.lying.empty), len(one.stops))):
        if open_counts.get(one.lying.tray.template, 0) > 0:
            open_counts[one.lying.tray.template] -= 1
            yield one


def _unlisted(tray: BenchTray) -> Finding:
    sentence = f"Cannot complete {tray.name}: no version of its list is published, one must be."
    return stop("no-version", tray.code, sentence, "Have its list published first.")
