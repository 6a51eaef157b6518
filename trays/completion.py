"""Which incomplete trays can be completed from the shelf and from one another, moving the fewest pieces.

An integer programme over trays that are alike, not over single pieces: any piece of a part is as good as another.
Whoever asks leaves out what must not be exchanged: a piece of a closed set is not among what a tray gives, and
where such a piece lacks, no part is accepted in its place.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, repeat
from typing import Any

FINEST_WEIGHT = 3  # decimals; coarser than what the solver tells apart
GREATEST_WEIGHT = 1000
ROUNDING = 1e-5  # how far from whole a count may come back: ten times the tolerance of the solver (HiGHS: 1e-6)

OPTIMAL = 0  # status of scipy.optimize.milp; any other = stopped before the proof

Costs = Mapping[int, float]  # by column
Row = tuple[Costs, float, float]  # factors by column, least, greatest


@dataclass(frozen=True, slots=True)
class Gap:
    """One place of a tray that is empty.

    Args:
        slot: its number on the tray.
        accepts: parts that may fill it, the place's own first; one named twice counts once; none where nothing may.
    """

    slot: int
    accepts: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "accepts", tuple(dict.fromkeys(self.accepts)))


@dataclass(frozen=True, slots=True)
class CountedTray:
    """A tray as it stands.

    Args:
        template: what it is a tray of.
        gaps: its empty places; none = the tray is complete.
        gives: pieces that it could give up, by part.

    Raises:
        ValueError: two gaps share a slot, or a count is below 0.
    """

    template: str
    gaps: tuple[Gap, ...] = ()
    gives: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len({gap.slot for gap in self.gaps}) < len(self.gaps):
            raise ValueError("Two gaps of a tray share a slot.")
        _check_counts("A tray gives", self.gives)


@dataclass(frozen=True, slots=True)
class Demand:
    """How many trays of a template are needed, and how much each is worth.

    Args:
        needed: trays in all, those that are complete already among them.
        weight: worth of one, 0 to 1000, three decimals at most.

    Raises:
        ValueError: a figure is out of range, or the weight is finer.
    """

    needed: int
    weight: float = 1.0

    def __post_init__(self) -> None:
        if self.needed < 0:
            raise ValueError(f"Of a template {self.needed} are needed, must be 0 or more.")
        if not 0 <= self.weight <= GREATEST_WEIGHT or round(self.weight, FINEST_WEIGHT) != self.weight:
            raise ValueError(f"A weight is {self.weight}, must be 0 to {GREATEST_WEIGHT} with three decimals at most.")


@dataclass(frozen=True, slots=True)
class Placement:
    """One piece to move.

    Args:
        tray: position of the tray that receives it.
        slot: the place that it fills.
        part: what it is.
        donor: position of the tray that gives it; None = from the shelf.
    """

    tray: int
    slot: int
    part: str
    donor: int | None


@dataclass(frozen=True, slots=True)
class Completion:
    """What to complete, and how.

    Args:
        weight: worth of the trays that become complete.
        complete: their positions, rising.
        placements: what to move, by tray and slot.
        proven: whether nothing better exists; else it is the best that was found in time.
    """

    weight: float
    complete: tuple[int, ...]
    placements: tuple[Placement, ...]
    proven: bool

    @property
    def moves(self) -> int:
        """How many pieces are placed."""
        return len(self.placements)


def complete_trays(
    trays: Sequence[CountedTray],
    spare: Mapping[str, int],
    demands: Mapping[str, Demand],
    *,
    longest_s: float,
) -> Completion:
    """Choose the trays to complete and the pieces to complete them with.

    In this order: the greatest weight of needed trays that become complete; the fewest pieces placed, each
    one move, whether from the shelf or from a tray; the fewest pieces taken from trays; the fewest
    substitutes. Trays that are complete already count towards what is needed, not towards the weight, and
    give nothing. Any other tray may give, needed or not, unless it is itself completed.

    What is still equal is settled so: of trays that are alike in template, gaps and what they give, the
    earlier is completed and has the own parts; the shelf serves the earlier trays, and on a tray the lower
    slots; a piece comes from the tray with the most gaps, of these from the earlier. Between trays that
    differ and yet come to the same, the solver's choice stands; it is the same for the same question.

    It ignores which piece of a part it is, its life, its size beside the others', and where it lies.

    Args:
        trays: all trays, complete ones too; positions in the answer count from 0 in this order.
        spare: pieces on the shelf, by part.
        demands: what is needed, by template; of a template that is absent none is needed.
        longest_s: how long to seek weight, then moves, then the last two measures together, each [s].

    Returns:
        The best, proven with a gap of 0; where time did not suffice, the best found, marked so. Either way
        it can be carried out: counts are checked in whole numbers.

    Raises:
        ValueError: a count of spare pieces is below 0.
        ArithmeticError: the solver's counts are not whole numbers.

    Source:
        The problem is that of L. R. Ford and D. R. Fulkerson, Flows in Networks (1962), chapter III
        (from memory), with a choice of sinks; HiGHS by way of scipy.optimize.milp.
    """
    _check_counts("The shelf holds", spare)
    programme = _Programme(trays, spare, demands)
    if not programme.kinds:
        return Completion(0.0, (), (), proven=True)
    counts, proven = programme.solve(longest_s)
    filled = sorted(programme.filled(counts))
    complete = tuple(sorted(chain.from_iterable(programme.completed(counts))))
    weight = math.fsum(demands[trays[position].template].weight for position in complete)
    placements = tuple(_with_sources(filled, trays, spare, set(complete)))
    return Completion(weight, complete, placements, proven)


def _check_counts(subject: str, counts: Mapping[str, int]) -> None:
    for part, count in counts.items():
        if count < 0:
            raise ValueError(f"{subject} {count} of {part}, must be 0 or more.")


@dataclass(frozen=True, slots=True)
class _Kind:
    """Candidates that are alike: either will do."""

    template: str
    gaps: tuple[tuple[tuple[str, ...], int], ...]  # accepted parts, how many gaps of a tray accept these
    gives: tuple[tuple[str, int], ...]
    positions: tuple[int, ...]

    @property
    def pieces(self) -> int:
        """How many pieces complete one."""
        return sum(count for _, count in self.gaps)


def _kinds(trays: Sequence[CountedTray], worth: Mapping[str, int]) -> list[_Kind]:
    """Incomplete trays of the templates worth completing, those that are alike together."""
    alike = defaultdict(list)
    for position, tray in enumerate(trays):
        if tray.gaps and tray.template in worth:
            gaps = tuple(sorted(Counter(gap.accepts for gap in tray.gaps).items()))
            alike[tray.template, gaps, tuple(sorted(tray.gives.items()))].append(position)
    return [_Kind(*look, tuple(positions)) for look, positions in alike.items()]


class _Programme:
    """The integer programme: its columns, its rows, and what an answer means.

    Columns: of each kind, how many are completed; for each kind, accepted parts and part, how many pieces
    fill such gaps; of each part, how many pieces come from trays. That a completed tray gives nothing needs
    no column for each donor: all trays' pieces of a part are there, less those of the completed.
    """

    def __init__(self, trays: Sequence[CountedTray], spare: Mapping[str, int], demands: Mapping[str, Demand]) -> None:
        self.trays = trays
        self.spare = spare
        complete = Counter(tray.template for tray in trays if not tray.gaps)
        self.short = {template: demand.needed - complete[template] for template, demand in demands.items()}
        self.worth = {
            template: round(demand.weight * 10**FINEST_WEIGHT)
            for template, demand in demands.items()
            if self.short[template] > 0 and demand.weight
        }
        self.kinds = _kinds(trays, self.worth)
        fills = [
            (kind, accepts, part)
            for kind, look in enumerate(self.kinds)
            for accepts, _ in look.gaps
            for part in accepts
        ]
        self.fills = {fill: column for column, fill in enumerate(fills, start=len(self.kinds))}
        parts = dict.fromkeys(part for *_, part in fills)
        self.from_trays = {part: column for column, part in enumerate(parts, start=len(self.kinds) + len(fills))}

    @property
    def width(self) -> int:
        """How many columns there are."""
        return len(self.kinds) + len(self.fills) + len(self.from_trays)

    def rows(self) -> Iterator[Row]:
        """What any answer keeps to."""
        for kind, look in enumerate(self.kinds):
            yield {kind: 1}, 0, len(look.positions)
            for accepts, count in look.gaps:
                yield {kind: -count, **{self.fills[kind, accepts, part]: 1 for part in accepts}}, 0, 0
        for template in self.worth:
            of_template = {kind: 1.0 for kind, look in enumerate(self.kinds) if look.template == template}
            yield of_template, 0, self.short[template]
        yield from self._supply()

    def _supply(self) -> Iterator[Row]:
        uses: dict[str, dict[int, float]] = defaultdict(dict)
        for (*_, part), column in self.fills.items():
            uses[part][column] = 1
        keeps: dict[str, dict[int, float]] = defaultdict(dict)
        for kind, look in enumerate(self.kinds):
            for part, count in look.gives:
                keeps[part][kind] = count
        held: Counter[str] = Counter()
        for tray in self.trays:
            if tray.gaps:
                held.update(tray.gives)
        for part, column in self.from_trays.items():
            yield {**uses[part], **keeps[part]}, 0, self.spare.get(part, 0) + held[part]
            yield {**uses[part], column: -1}, -math.inf, self.spare.get(part, 0)

    def objectives(self) -> Iterator[Costs]:
        """What is to be least, one after the other: weight left, pieces placed, pieces from trays with substitutes.

        The last is two in one, for speed: a piece from a tray outweighs as many substitutes as could ever be.
        """
        divisor = math.gcd(*self.worth.values())
        yield {kind: -self.worth[look.template] / divisor for kind, look in enumerate(self.kinds)}
        yield {kind: look.pieces for kind, look in enumerate(self.kinds)}
        more_than_all = 1 + sum(look.pieces * len(look.positions) for look in self.kinds)
        substitutes = {column: 1 for (_, accepts, part), column in self.fills.items() if part != accepts[0]}
        yield substitutes | dict.fromkeys(self.from_trays.values(), more_than_all)

    def solve(self, longest_s: float) -> tuple[list[int], bool]:
        """The best counts, each objective held while the next is sought, and whether all are proven."""
        rows = list(self.rows())
        counts, proven = [0] * self.width, True
        for costs in self.objectives():
            counts, optimal = _improved(counts, rows, costs, longest_s)
            proven = proven and optimal
            rows.append((costs, -math.inf, _total(costs, counts)))
        return counts, proven

    def completed(self, counts: Sequence[int]) -> list[tuple[int, ...]]:
        """Positions of the trays that become complete, for each kind."""
        return [look.positions[:count] for look, count in zip(self.kinds, counts, strict=False)]

    def filled(self, counts: Sequence[int]) -> Iterator[tuple[int, int, str]]:
        """Tray, slot and part of each piece that is placed."""
        for kind, positions in enumerate(self.completed(counts)):
            parts = {
                accepts: iter([part for part in accepts for _ in range(counts[self.fills[kind, accepts, part]])])
                for accepts, _ in self.kinds[kind].gaps
            }
            for position in positions:
                for gap in sorted(self.trays[position].gaps, key=lambda gap: gap.slot):
                    yield position, gap.slot, next(parts[gap.accepts])


def _total(costs: Costs, counts: Sequence[int]) -> float:
    return math.fsum(cost * counts[column] for column, cost in costs.items())


def _improved(counts: list[int], rows: Sequence[Row], costs: Costs, longest_s: float) -> tuple[list[int], bool]:
    """Whole numbers from 0 up that keep to the rows at the least cost, or these counts where time did not suffice."""
    import numpy as np  # noqa: PLC0415 - like scipy, only where there is something to solve
    from scipy.optimize import LinearConstraint, milp  # noqa: PLC0415 - takes half a second
    from scipy.sparse import csr_array  # noqa: PLC0415 - comes with the above

    factors, low, high = zip(*rows, strict=True)
    figures = [float(figure) for row in factors for figure in row.values()]
    columns = [column for row in factors for column in row]
    shape = (len(rows), len(counts))
    matrix = csr_array((figures, columns, np.cumsum([0, *map(len, factors)])), shape=shape)
    objective = np.zeros(len(counts))
    objective[list(costs)] = list(costs.values())
    found = milp(
        objective,
        integrality=np.ones(len(counts), dtype=int),
        constraints=LinearConstraint(matrix, low, high),
        options={"mip_rel_gap": 0, "time_limit": longest_s},
    )
    choices = [_whole(found.x, matrix, low, high), counts] if found.x is not None else [counts]
    return min(choices, key=lambda choice: _total(costs, choice)), found.status == OPTIMAL


def _whole(found: Any, matrix: Any, low: Sequence[float], high: Sequence[float]) -> list[int]:
    """Counts rounded to whole numbers that keep to every row exactly.

    Raises:
        ArithmeticError: the counts are not in whole numbers.
    """
    counts = found.round()
    sums = matrix @ counts
    if abs(found - counts).max() > ROUNDING or (sums < low).any() or (sums > high).any():
        raise ArithmeticError("Cannot complete trays: the counts that the solver gave are not whole numbers.")
    return [int(count) for count in counts]


def _with_sources(
    filled: Sequence[tuple[int, int, str]],
    trays: Sequence[CountedTray],
    spare: Mapping[str, int],
    complete: set[int],
) -> Iterator[Placement]:
    """Say where each piece comes from: the shelf first, then the trays that lack most."""
    givers = sorted(
        (position for position, tray in enumerate(trays) if tray.gaps and position not in complete),
        key=lambda position: (-len(trays[position].gaps), position),
    )
    asked = Counter(part for *_, part in filled)
    sources: dict[str, deque[int | None]] = {
        part: deque(repeat(None, min(spare.get(part, 0), count))) for part, count in asked.items()
    }
    for giver in givers:
        for part in asked.keys() & trays[giver].gives.keys():
            sources[part].extend(repeat(giver, trays[giver].gives[part]))
    for tray, slot, part in filled:
        yield Placement(tray, slot, part, sources[part].popleft())
