"""What no plan can exceed: trays given to cases as if no tray ever had to queue.

Each tray, alone, is on its shelf at a certain minute, so what it may serve is known. The best choice of trays under
that alone is an integer programme that is solved in an instant; every real plan is one of its choices.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lists.plans.candidates import SLACK_CAP_MIN
from lists.plans.jobs import Assignment, Day

TOLERANCE = 1e-6  # of the solver (HiGHS), for sums of whole numbers

Row = tuple[dict[int, int], int]  # factors by column, and what their sum must not exceed
Group = tuple[int, int]  # template and site: trays that are alike once they come back dirty


@dataclass(frozen=True, slots=True)
class Column:
    """Whether a case is served by a tray of a group, as that tray's first case (layer 0) or a later one."""

    case: int
    group: Group
    layer: int
    ready_min: int  # of the tray for its first case; the class of first uses that are alike
    deadline_min: int
    moves: int


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The best choice of trays without queues.

    Args:
        bound: no choice is better than this.
        assignment: the best choice that was found; None when there is none, or none was found in time.
    """

    bound: int
    assignment: Assignment | None


class Relaxation:
    """The choice of trays without queues, with every slack at least `slack_min`.

    Args:
        day: the day.
        slack_min: least slack that any case on time must have [min].
    """

    def __init__(self, day: Day, slack_min: int = 0) -> None:
        self.day = day
        self.slack_min = slack_min
        self.trays: Mapping[tuple[Group, int], list[int]] = defaultdict(list)  # alike for their first case
        self.member: dict[Group, int] = {}  # any tray of the group
        for position, tray in enumerate(day.scenario.trays):
            ready = day.alone_min(position)
            if ready is not None:
                group = (tray.template, tray.site)
                self.trays[group, ready].append(position)
                self.member[group] = position
        self.columns = [*self._first_columns(), *self._later_columns()]

    def greatest_weight(self, longest_s: float) -> Relaxed:
        """The most weight on time.

        Args:
            longest_s: how long to seek; the bound holds in any case [s].
        """
        gains = [self.day.weight[column.case] for column in self.columns]
        bound, values = self._solved(gains, longest_s)
        return Relaxed(min(bound, sum(self.day.weight)), self._assignment(values))

    def fewest_moves(self, weight: int, longest_s: float) -> Relaxed:
        """The fewest moves of a choice with this weight or more; `bound` is what no such choice goes below.

        Args:
            weight: least weight on time.
            longest_s: how long to seek; the bound holds in any case [s].
        """
        losses = [-column.moves for column in self.columns]
        bound, values = self._solved(losses, longest_s, weight=weight)
        return Relaxed(max(-bound, 0), self._assignment(values))

    def _first_columns(self) -> Iterable[Column]:
        for group, ready in self.trays:
            tray = self.member[group]
            for case in self._cases_of(tray):
                deadline = self._deadline(case, tray)
                if ready <= deadline:
                    yield Column(case, group, 0, ready, deadline, self.day.moves[case][tray])

    def _later_columns(self) -> Iterable[Column]:
        """Of each group, the cases that a tray can reach after one, after two … others, as often as it may serve."""
        for group, tray in self.member.items():
            cases = self._cases_of(tray)
            before = {case for case in cases if any(self._first(ready, case, group) for ready in self._readies(group))}
            for layer in range(1, self.day.scenario.uses_per_tray):
                again = [ready for case in before if (ready := self.day.alone_min(tray, case)) is not None]
                before = {case for case in cases if again and min(again) <= self._deadline(case, tray)}
                if not before:
                    break
                for case in sorted(before):
                    yield Column(case, group, layer, 0, self._deadline(case, tray), self.day.moves[case][tray])

    def _readies(self, group: Group) -> list[int]:
        return [ready for other, ready in self.trays if other == group]

    def _first(self, ready: int, case: int, group: Group) -> bool:
        return ready <= self._deadline(case, self.member[group])

    def _cases_of(self, tray: int) -> list[int]:
        return [case for case, deadlines in enumerate(self.day.deadline_min) if tray in deadlines]

    def _deadline(self, case: int, tray: int) -> int:
        return self.day.deadline_min[case][tray] - self.slack_min

    def _rows(self) -> Iterable[Row]:
        of_case, of_class, layers = defaultdict(list), defaultdict(list), defaultdict(list)
        for position, column in enumerate(self.columns):
            of_case[column.case].append(position)
            layers[column.group, column.layer].append(position)
            if column.layer == 0:
                of_class[column.group, column.ready_min].append(position)
        for positions in of_case.values():
            yield dict.fromkeys(positions, 1), 1
        yield from together(self.day, of_case)
        for alike, positions in of_class.items():
            yield dict.fromkeys(positions, 1), len(self.trays[alike])
        for (group, layer), positions in layers.items():
            if layer > 0:
                yield from self._returns(group, positions, layers[group, layer - 1])

    def _returns(self, group: Group, later: Sequence[int], before: Sequence[int]) -> Iterable[Row]:
        """By every deadline: no more trays are needed again than have come back and can be ready by then.

        Whoever can meet a deadline can meet the later ones, so these rows suffice to pair each with its former case.
        """
        tray = self.member[group]
        ready = {position: self.day.alone_min(tray, self.columns[position].case) for position in before}
        for deadline in sorted({self.columns[position].deadline_min for position in later}):
            row = {position: 1 for position in later if self.columns[position].deadline_min <= deadline}
            row |= {position: -1 for position, minute in ready.items() if minute is not None and minute <= deadline}
            yield row, 0

    def _solved(
        self, gains: Sequence[int], longest_s: float, *, weight: int | None = None
    ) -> tuple[int, list[int] | None]:
        """An upper bound of the gains, and columns that were found to be best, by position."""
        if not self.columns:
            return (0, []) if not weight else (-len(self.day.weight) * 2, None)
        from scipy.optimize import Bounds, milp  # noqa: PLC0415 - takes half a second

        if not any(gains) and weight is None:
            return 0, []
        rows = list(self._rows())
        if weight is not None:
            worth = {position: -self.day.weight[column.case] for position, column in enumerate(self.columns)}
            rows.append((worth, -weight))
        result = milp(
            [-gain for gain in gains],
            integrality=[1] * len(gains),
            bounds=Bounds(0, 1),
            constraints=constraints(rows, len(self.columns)),
            options={"time_limit": longest_s, "mip_rel_gap": 0},
        )
        if result.mip_dual_bound is None or not math.isfinite(result.mip_dual_bound):
            return sum(max(gain, 0) for gain in gains), None
        bound = math.floor(-result.mip_dual_bound + TOLERANCE)
        return bound, None if result.x is None else [column for column, share in enumerate(result.x) if share > 0.5]

    def _assignment(self, chosen: Sequence[int] | None) -> Assignment | None:
        """Trays by name: equal ones in the order of the day, each return to the earliest case that it can meet."""
        if chosen is None:
            return None
        trays: list[int | None] = [None] * len(self.day.weight)
        left = {alike: list(members) for alike, members in self.trays.items()}
        free: dict[tuple[Group, int], list[tuple[int, int]]] = defaultdict(list)  # ready again, tray
        picked = sorted((self.columns[position] for position in chosen), key=lambda one: (one.layer, one.deadline_min))
        for column in picked:
            if column.layer == 0:
                tray = left[column.group, column.ready_min].pop(0)
            else:
                _, tray = free[column.group, column.layer].pop(0)
            trays[column.case] = tray
            again = self.day.alone_min(tray, column.case)
            if again is not None:
                free[column.group, column.layer + 1].append((again, tray))
                free[column.group, column.layer + 1].sort()
        return tuple(trays)


def together(day: Day, of_case: Mapping[int, Sequence[int]]) -> Iterable[Row]:
    """Of cases that stand or fall together, one is on time as often as the next."""
    for case, mates in enumerate(day.mates):
        if len(mates) > 1:
            after = mates[(mates.index(case) + 1) % len(mates)]  # round in a ring: so all are the same
            yield dict.fromkeys(of_case.get(case, ()), 1) | dict.fromkeys(of_case.get(after, ()), -1), 0


def constraints(rows: Sequence[Row], columns: int) -> Any:
    """The rows as the solver takes them."""
    import numpy as np  # noqa: PLC0415 - takes a while
    from scipy.optimize import LinearConstraint  # noqa: PLC0415 - takes half a second
    from scipy.sparse import csr_array  # noqa: PLC0415 - comes with it

    entries = [(factor, row, column) for row, (factors, _) in enumerate(rows) for column, factor in factors.items()]
    factors, across, down = np.array(entries, dtype=float).T
    matrix = csr_array((factors, (across.astype(int), down.astype(int))), shape=(len(rows), columns))
    return LinearConstraint(matrix, ub=[most for _, most in rows])


def greatest_slack(day: Day, weight: int, *, longest_s: float) -> Relaxed:
    """The most that every slack of a plan with this weight can be, each counted up to 120.

    Args:
        day: the day.
        weight: weight on time that must be kept.
        longest_s: how long each of seven or eight questions may take [s].

    Returns:
        The bound, and a choice without queues that has so much slack.
    """
    low, high, found = 0, SLACK_CAP_MIN, None
    while low <= high:
        middle = high if found is None and high == SLACK_CAP_MIN else (low + high) // 2
        relaxed = Relaxation(day, middle).greatest_weight(longest_s)
        if relaxed.bound >= weight:
            low, found = middle + 1, relaxed.assignment or found
        else:
            high = middle - 1
    return Relaxed(high, found)
