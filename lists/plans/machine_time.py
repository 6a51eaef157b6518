"""What no plan can exceed, for machines cannot start loads at any minute: choices of trays with starts of loads.

Which tray serves which case, after which other case, fixes when it can come to a machine at the earliest and must be
in it at the latest. So a load has to start in that window; and no more loads run at any minute than there are
machines. How much a load holds, and the queues at the benches, are left out. Every real plan is one of these choices.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lists.plans.bounding import TOLERANCE, Relaxed, Row, constraints, together
from lists.plans.calendars import blocked
from lists.plans.jobs import BENCHES, Assignment, Day, Route
from lists.plans.sites import Stage

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Shares = NDArray[np.float64]

MOST_COLUMNS = 20_000  # beyond, the question takes longer than the answer is worth
BOTH = 2  # washer and steriliser
VIOLATED = 1e-4
INFEASIBLE = 2  # as scipy says it: nothing has more

Family = tuple[int, Stage, str]  # site, stage, and the programme where the stage is the steriliser


@dataclass(frozen=True, slots=True)
class Arc:
    """That a case is served by a tray as it is, or by one that comes back from another case.

    Args:
        case: position of the case.
        tray: a tray, any of those that are alike; of a later use any of its group.
        layer: which of the uses of the tray it is, counted from 0.
        source: number of the trays that are alike, or position of the former case.
        windows: earliest and latest start of a load with it, by family, in the order of the stages.
        between_min: from the start of its first load to the start of its second, at least [min].
    """

    case: int
    tray: int
    layer: int
    source: int
    windows: Mapping[Family, tuple[int, int]]
    between_min: int


class MachineTime:
    """The choices of trays for which the machines have time.

    Args:
        day: the day.
    """

    def __init__(self, day: Day) -> None:
        self.day = day
        self.arcs: list[Arc] = []
        self.rows: list[Row] = []
        self._first_uses()
        self._later_uses()
        of_case: dict[int, list[int]] = {case: [] for case in range(len(day.weight))}
        for place, arc in enumerate(self.arcs):
            of_case[arc.case].append(place)
        self.rows.extend((dict.fromkeys(places, 1), 1) for places in of_case.values())
        self.rows.extend(together(day, of_case))
        self.column: dict[tuple[Family, int], int] = {}
        self.minutes: dict[Family, int] = {}
        self._starts()
        self.linked: set[tuple[int, int]] = set()

    @property
    def small(self) -> bool:
        """Whether it is worth asking."""
        return len(self.arcs) > 0 and self._width() <= MOST_COLUMNS

    def greatest_weight(self, above: int, options: Mapping[str, Any]) -> Relaxed:
        """The most weight on time, and a choice that has it.

        Each question adds what its answer overlooked, so the next one is harder to satisfy.

        Args:
            above: weight of a plan that is known; only more is sought.
            options: limits of the solver (HiGHS, by way of scipy).

        Returns:
            The bound, never below `above`; no choice where none has more, or none was found in time.
        """
        if not self.linked:
            shares = self._relaxed()
            if shares is not None:
                self._link(shares)
        gains = [self.day.weight[arc.case] for arc in self.arcs]
        sought = ({place: -gain for place, gain in enumerate(gains)}, -above - 1)
        from scipy.optimize import Bounds, milp  # noqa: PLC0415 - takes half a second

        limits: Any = {"mip_rel_gap": 0, **options}
        result = milp(
            self._losses(),
            integrality=[1] * self._width(),
            bounds=Bounds(0, 1),
            constraints=constraints([*self.rows, sought], self._width()),
            options=limits,
        )
        if result.status == INFEASIBLE:
            return Relaxed(above, None)
        if result.mip_dual_bound is None or not math.isfinite(result.mip_dual_bound):
            return Relaxed(sum(self.day.weight), None)
        bound = max(above, math.floor(-result.mip_dual_bound + TOLERANCE))
        if result.x is None:
            return Relaxed(bound, None)
        self._link(result.x)
        return Relaxed(bound, self._assignment(result.x))

    # What is chosen

    def _first_uses(self) -> None:
        for source, alike in enumerate(self.day.alike):
            tray = alike[0]
            cases = [case for case in range(len(self.day.weight)) if self._able(tray, case, None)]
            columns = [self._arc(case, tray, 0, source) for case in cases]
            self.rows.append((dict.fromkeys(columns, 1), len(alike)))

    def _later_uses(self) -> None:
        """A tray that served one case serves one other at most."""
        member = {(tray.template, tray.site): place for place, tray in enumerate(self.day.scenario.trays)}
        before: dict[tuple[int, int], list[int]] = defaultdict(list)  # tray of the group, case
        for place, arc in enumerate(self.arcs):
            there = self.day.scenario.trays[arc.tray]
            before[member[there.template, there.site], arc.case].append(place)
        for layer in range(1, self.day.scenario.uses_per_tray):
            now: dict[tuple[int, int], list[int]] = defaultdict(list)
            for (tray, former), served in before.items():
                columns = []
                for case in range(len(self.day.weight)):
                    if case != former and self._able(tray, case, former):
                        columns.append(self._arc(case, tray, layer, former))
                        now[tray, case].append(columns[-1])
                self.rows.append((dict.fromkeys(columns, 1) | dict.fromkeys(served, -1), 0))
            before = now

    def _able(self, tray: int, case: int, after: int | None) -> bool:
        return tray in self.day.deadline_min[case] and self.day.can_serve(tray, case, after)

    def _arc(self, case: int, tray: int, layer: int, source: int) -> int:
        route, release = self.day.way(tray, source if layer else None)
        if route is None:
            raise ValueError(f"Tray {tray} cannot serve case {case}.")
        windows, between = self._windows(route, tray, release, self.day.deadline_min[case][tray])
        self.arcs.append(Arc(case, tray, layer, source, windows, between))
        return len(self.arcs) - 1

    def _windows(
        self, route: Route, tray: int, release: int, deadline: int
    ) -> tuple[dict[Family, tuple[int, int]], int]:
        site = self.day.site_of[tray]
        latest, minute = route.latest_min(deadline), release
        windows: dict[Family, tuple[int, int]] = {}
        between = 0
        for stage, minutes in route.stages:
            minute = self.day.scenario.sites[site].first_start(stage, minute, minutes)
            if stage not in BENCHES:
                family = (site, stage, "" if stage is Stage.WASHER else route.programme)
                windows[family] = (minute, latest[stage])
                between = 0 if stage is Stage.WASHER else between
            between += 0 if stage is Stage.STERILISER else minutes
            minute += minutes
        return windows, between

    # When loads start

    def _starts(self) -> None:
        """A column for each minute at which a load may start, and the rows that tie them to machines and arcs."""
        spans: Mapping[Family, set[int]] = defaultdict(set)
        for arc in self.arcs:
            for family, (low, high) in arc.windows.items():
                spans[family].update(range(low, high + 1))
                site, stage, _ = family
                tray = self.day.scenario.trays[arc.tray]
                self.minutes[family] = self.day.scenario.stage_min(tray, stage)
        for family in sorted(spans):
            plant = self.day.scenario.sites[family[0]]
            for minute in sorted(spans[family]):
                if plant.first_start(family[1], minute, self.minutes[family]) > minute:
                    continue
                self.column[family, minute] = len(self.arcs) + len(self.column)
        if not self.small:
            return
        for site, stage in sorted({family[:2] for family in spans}):
            self._machines(site, stage, [family for family in spans if family[:2] == (site, stage)])
        for place, arc in enumerate(self.arcs):
            for family, (low, high) in arc.windows.items():
                self.rows.append(({place: 1} | self._between(family, low, high), 0))

    def _machines(self, site: int, stage: Stage, families: Sequence[Family]) -> None:
        """At no minute run more loads than there are machines."""
        place = self.day.scenario.sites[site]
        spans = [blocked(closed, at) for closed, at in zip(place.closed(stage), place.free_at_min(stage), strict=True)]
        last = max((minute for family, minute in self.column if family in families), default=-1)
        for minute in range(last + 1):
            running: dict[int, int] = {}
            for family in families:
                running |= dict.fromkeys(self._between(family, minute - self.minutes[family] + 1, minute), 1)
            if running:
                there = sum(all(not start <= minute < end for start, end in of) for of in spans)
                self.rows.append((running, there))

    def _between(self, family: Family, low: int, high: int) -> dict[int, int]:
        """The starts of a family from one minute to another, taken off."""
        found = (self.column.get((family, minute)) for minute in range(low, high + 1))
        return {column: -1 for column in found if column is not None}

    def _link(self, shares: Shares) -> bool:
        """Whoever is washed late is sterilised late: rows for arcs whose two loads do not fit together."""
        until = self._sums(shares)
        added = False
        for place, arc in enumerate(self.arcs):
            if shares[place] < VIOLATED or len(arc.windows) < BOTH:
                continue
            (washing, (first, last)), (steaming, (low, high)) = arc.windows.items()
            covers = []
            for minute in range(first, last):
                then = max(low, minute + 1 + arc.between_min)
                washed = until[washing][minute + 1] - until[washing][first]
                steamed = until[steaming][high + 1] - until[steaming][then] if then <= high else 0.0
                covers.append((washed + steamed, minute, then))
            cover, minute, then = min(covers, default=(1.0, 0, 0))
            if cover < shares[place] - VIOLATED and (place, minute) not in self.linked:
                self.linked.add((place, minute))
                row = self._between(washing, first, minute) | self._between(steaming, then, high)
                self.rows.append(({place: 1} | row, 0))
                added = True
        return added

    def _sums(self, shares: Shares) -> Mapping[Family, list[float]]:
        """How many loads of a family start before each minute."""
        last = dict(sorted(self.column))
        until = {family: [0.0] for family in last}
        for family, most in last.items():
            for minute in range(most + 1):
                column = self.column.get((family, minute))
                until[family].append(until[family][-1] + (0.0 if column is None else float(shares[column])))
        return until

    # Solving

    def _width(self) -> int:
        return len(self.arcs) + len(self.column)

    def _losses(self) -> list[int]:
        return [-self.day.weight[arc.case] for arc in self.arcs] + [0] * len(self.column)

    def _relaxed(self) -> Shares | None:
        """The best shares, when things can be done by halves."""
        from scipy.optimize import linprog  # noqa: PLC0415 - as above

        held = constraints(self.rows, self._width())
        result = linprog(self._losses(), A_ub=held.A, b_ub=held.ub, bounds=(0, 1), method="highs")
        shares: Shares | None = result.x
        return shares

    def _assignment(self, shares: Shares) -> Assignment:
        """Trays by name: equal ones in the order of the day."""
        trays: list[int | None] = [None] * len(self.day.weight)
        left = [list(alike) for alike in self.day.alike]
        chosen = [arc for place, arc in enumerate(self.arcs) if shares[place] > 0.5]
        for arc in sorted(chosen, key=lambda arc: arc.layer):
            trays[arc.case] = trays[arc.source] if arc.layer else left[arc.source].pop(0)
        return tuple(trays)
