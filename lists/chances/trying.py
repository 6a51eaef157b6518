"""A course tried on many drawn days at once.

On every day the steps are taken in the order of the plan: nobody overtakes at a bench. A step begins when its trays
are there and a bench or machine is free, be it before its planned minute or after; only where the plan lets a step
wait although all was there does it wait for that minute on every day. So a day on which nothing strays is the plan,
to the minute.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from functools import partial
from heapq import heappop, heappush
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lists.chances.following import Course, Line, Step, closed_times, servers_free_at
from lists.chances.noise import NONE, Draws, FloatArray, LoadPolicy, Noise
from lists.chances.queueing import ALL, Days, Places, Servers
from lists.plans.scenario import ALL_STAGES, TrayState
from lists.plans.sites import Stage

MACHINES = frozenset({Stage.WASHER, Stage.STERILISER})
PRECLEAN, ASSEMBLY, OVERRUN, PICKUP, REPEAT, FIRST_PICKUP = range(6)  # what a stream of random numbers is for


def on_shelf_min(way: Course, noise: Noise, draws: Draws) -> FloatArray:
    """When each round of a course ends on the drawn days, shape (rounds, days) [min].

    Raises:
        ValueError: a step of the plan starts before its trays are there, or before a bench or machine is free.
    """
    return _Run(way, noise, draws, _held_min(way)).run()


def _held_min(way: Course) -> dict[Step, int]:
    """The steps that the plan lets wait although all is there, each with its planned start [min]."""
    rehearsal = _Rehearsal(way, NONE, Draws(1, 0), {})
    rehearsal.run()
    return rehearsal.held_min


class _Late(NamedTuple):
    """A round that missed its load on some days, and since when it has been there on each of them [min]."""

    position: int
    days: NDArray[np.intp]
    since_min: FloatArray


class _Run:
    """All drawn days side by side, step by step.

    `there_min[round, day]` says when a tray is there for its next step, or on the shelf after the last. It is
    infinite while that is not known: on days on which the tray missed a load. What it missed is made up for on those
    days alone, in the order of the plan where the load stands that it took then.
    """

    def __init__(self, way: Course, noise: Noise, draws: Draws, held_min: dict[Step, int]) -> None:
        self.way, self.noise, self.draws, self.held_min = way, noise, draws, held_min
        self.there_min: FloatArray = np.full((len(way.rounds), draws.days), np.inf)
        self.tray_number = {tray.id: number for number, tray in enumerate(way.scenario.trays)}
        self.case_number = {case.id: number for number, case in enumerate(way.scenario.cases)}
        self.servers: dict[tuple[int, Stage], Servers | Places] = {}
        self.factors: dict[Step, FloatArray] = {}
        self.step_of = {(position, step.line[1]): step for step in way.steps for position in step.rounds}
        self.taken: set[Step] = set()
        self.loads_left = Counter(step.line for step in way.steps)
        self.departed: Counter[tuple[int, Stage, bool]] = Counter()
        self.late: dict[Line, list[_Late]] = defaultdict(list)
        self.agenda: list[tuple[int, int, Callable[[], None]]] = []
        self.entered = 0

    def run(self) -> FloatArray:
        """When each round ends, shape (rounds, days) [min]."""
        for step in self.way.steps:
            self.enter(step.start_min, partial(self.load if step.line[1] in MACHINES else self.bench, step))
        for position, made in enumerate(self.way.rounds):
            if made.number == 0:
                self.arrive(position, 0, self.first_min(position), ALL, 0)
        while self.agenda:
            heappop(self.agenda)[-1]()
        return self.there_min

    def enter(self, minute: int, act: Callable[[], None]) -> None:
        """Put on the agenda, after what is there for the same minute."""
        heappush(self.agenda, (minute, self.entered, act))
        self.entered += 1

    def first_min(self, position: int) -> FloatArray:
        """When the first round of a tray begins, or is over [min]."""
        tray = self.way.rounds[position].tray
        free_min = np.broadcast_to(float(tray.free_at_min or 0), self.draws.days)
        if tray.state in (TrayState.IN_WASHER, TrayState.IN_STERILISER):
            free_min = free_min + self.draws.of(self.noise.pickup_min, 0, FIRST_PICKUP, self.tray_number[tray.id])
        return free_min + self.way.scenario.wait_min(tray) if tray.state is TrayState.IN_STERILISER else free_min

    def arrive(self, position: int, passed: int, there_min: FloatArray, days: Days, minute: int) -> None:
        """A round has so many stages behind it on some days; what the plan had next may have gone by already.

        Args:
            position: of the round.
            passed: how many of its stages.
            there_min: since when, for each of the days [min].
            days: on which days.
            minute: where in the order of the plan this is [min].
        """
        made = self.way.rounds[position]
        self.there_min[position, days] = there_min
        if passed == len(made.stages):
            self.serve(position, there_min, days, minute)
            return
        step = self.step_of[position, made.stages[passed]]
        if step not in self.taken:
            return
        self.there_min[position, days] = np.inf
        if step.line[1] in MACHINES:
            self.miss(step.line, position, there_min, days)
            self.last_call(step.line, minute)
        else:
            self.enter(minute, partial(self.work, step, there_min, days, minute))

    def serve(self, position: int, there_min: FloatArray, days: Days, minute: int) -> None:
        """A tray is on the shelf; where it has another round, its case is what that round waits for."""
        rounds, scenario = self.way.rounds, self.way.scenario
        made, case = rounds[position], rounds[position].serves
        if case is None or position + 1 == len(rounds) or rounds[position + 1].number == 0:
            return
        brought_min = there_min + scenario.move_min(case, made.tray) + scenario.prepare_min
        factor = self.draws.of(self.noise.overrun, 1, OVERRUN, self.case_number[case.id])[days]
        over_min = np.maximum(case.start_min, brought_min) + case.duration_min * factor
        self.arrive(position + 1, 0, over_min + scenario.return_min, days, minute)

    def begin(self, step: Step, earliest_min: FloatArray) -> FloatArray:
        """When a step begins that could at the earliest then [min]."""
        return np.maximum(earliest_min, self.held_min[step]) if step in self.held_min else earliest_min

    def bench(self, step: Step) -> None:
        """A tray at a bench as planned, on days on which it is there."""
        self.taken.add(step)
        there_min = self.there_min[step.rounds[0]]
        days = _on(np.isfinite(there_min))
        self.work(step, there_min[days], days, step.start_min)

    def work(self, step: Step, there_min: FloatArray, days: Days, minute: int) -> None:
        """A tray at a bench on some days, on each of them from when it is there."""
        (position,), (_, stage, _) = step.rounds, step.line
        servers = self.of_line(step.line)
        earliest_min, places = servers.begins(there_min, step.minutes, days, step.place)
        begins_min = self.begin(step, earliest_min)
        ends_min = begins_min + step.minutes * self.factor(step)[days]
        servers.take(ends_min, days, places)
        passed = self.way.rounds[position].stages.index(stage) + 1
        self.arrive(position, passed, ends_min, days, minute + step.minutes)

    def load(self, step: Step) -> None:
        """A load as planned: with those of its members that are there when it leaves, on days on which any is."""
        self.taken.add(step)
        self.loads_left[step.line] -= 1
        there_min = self.there_min[list(step.rounds)]
        leaves_min = there_min.max(axis=0)
        if self.noise.policy is LoadPolicy.CUTOFF:
            cutoff_min = np.maximum(step.start_min + self.noise.cutoff_min, there_min.min(axis=0))
            leaves_min = np.minimum(leaves_min, cutoff_min)
        earliest_min, places = self.of_line(step.line).begins(leaves_min, step.minutes, place=step.place)
        begins_min = self.begin(step, earliest_min)
        known = np.isfinite(there_min)
        on_board = known & (there_min <= begins_min)
        members = [(position, _on(there)) for position, there in zip(step.rounds, on_board, strict=True)]
        self.depart(step.line, (begins_min, places), members, step.start_min)
        for position, missed in zip(step.rounds, known & ~on_board, strict=True):
            if missed.any():
                days = np.flatnonzero(missed)
                self.miss(step.line, position, self.there_min[position, days], days)
                self.there_min[position, days] = np.inf
        self.last_call(step.line, step.start_min)

    def miss(self, line: Line, position: int, since_min: FloatArray, days: Days) -> None:
        """A round has missed its load on some days, and takes the next one with room."""
        self.late[line].append(_Late(position, np.arange(self.draws.days)[days], since_min))

    def last_call(self, line: Line, minute: int) -> None:
        """When the plan has no more loads for those who missed theirs, others are run."""
        if self.loads_left[line] == 0 and self.late[line]:
            self.enter(minute, partial(self.spare, line, minute))

    def spare(self, line: Line, minute: int) -> None:
        """Loads that the plan does not have: each leaves with the first who is there, and who else is by then."""
        while self.late[line]:
            first_min = np.full(self.draws.days, np.inf)
            for _, days, since_min in self.late[line]:
                first_min[days] = np.minimum(first_min[days], since_min)
            self.depart(line, self.of_line(line).begins(first_min, self.cycle_min(line)), [], minute)

    def cycle_min(self, line: Line) -> int:
        """How long a cycle of a machine takes as planned [min]."""
        _, stage, programme = line
        scenario = self.way.scenario
        return scenario.programme_min[programme] if stage is Stage.STERILISER else scenario.washer_min

    def depart(
        self,
        line: Line,
        begins: tuple[FloatArray, NDArray[np.intp] | None],
        members: list[tuple[int, Days]],
        minute: int,
    ) -> None:
        """A load leaves, on the days on which it begins at all, with its members and with who is late and has room."""
        scenario, rounds, (site, stage, _), (begins_min, places) = self.way.scenario, self.way.rounds, line, begins
        aboard = [*members, *self.boarding(line, begins_min, members)]
        cycle_min = self.cycle_min(line)
        number = (ALL_STAGES.index(stage), site, not members, self.departed[site, stage, not members])
        self.departed[site, stage, not members] += 1
        repeat = self.noise.steriliser_repeat if stage is Stage.STERILISER else self.noise.wash_repeat
        emptied_min = begins_min + cycle_min * self.draws.cycles(repeat, REPEAT, *number)
        emptied_min = emptied_min + self.draws.of(self.noise.pickup_min, 0, PICKUP, *number)
        leaves = _on(np.isfinite(begins_min))
        self.of_line(line).take(emptied_min[leaves], leaves, None if places is None else places[leaves])
        for position, days in aboard:
            made = rounds[position]
            wait_min = scenario.wait_min(made.tray) if stage is Stage.STERILISER else 0
            passed = made.stages.index(stage) + 1
            self.arrive(position, passed, emptied_min[days] + wait_min, days, minute + cycle_min)

    def boarding(self, line: Line, begins_min: FloatArray, members: list[tuple[int, Days]]) -> list[tuple[int, Days]]:
        """Who of the late takes this load, in the order in which they missed theirs."""
        late, self.late[line] = self.late[line], []
        if not late:
            return []
        room = np.where(np.isfinite(begins_min), self.way.scenario.sites[line[0]].capacity(line[1]), -1)
        for position, days in members:
            room[days] -= self.units(position)
        aboard: list[tuple[int, Days]] = []
        for position, days, since_min in late:
            taken = (since_min <= begins_min[days]) & (self.units(position) <= room[days])
            room[days[taken]] -= self.units(position)
            aboard.append((position, days[taken]))
            if not taken.all():
                self.late[line].append(_Late(position, days[~taken], since_min[~taken]))
        return aboard

    def units(self, position: int) -> int:
        """Room that the tray of a round takes in a machine."""
        return self.way.scenario.template_of(self.way.rounds[position].tray).load_units

    def of_line(self, line: Line) -> Servers | Places:
        """The benches or machines of a line; sterilisers of a site serve all its programmes."""
        place = line[:2]
        if place not in self.servers:
            free, closed = servers_free_at(self.way.scenario, line), closed_times(self.way.scenario, line)
            days = self.draws.days
            self.servers[place] = Servers(free, days) if closed is None else Places(free, closed, days)
        return self.servers[place]

    def factor(self, step: Step) -> FloatArray:
        """What the minutes of a step at a bench are to be multiplied by."""
        if step not in self.factors:
            made, precleaned = self.way.rounds[step.rounds[0]], step.line[1] is Stage.PRECLEAN
            spread, what = (self.noise.preclean, PRECLEAN) if precleaned else (self.noise.assembly, ASSEMBLY)
            self.factors[step] = self.draws.of(spread, 1, what, self.tray_number[made.tray.id], made.number)
        return self.factors[step]


class _Rehearsal(_Run):
    """One day without noise, on which each step is seen to start when the plan says."""

    def begin(self, step: Step, earliest_min: FloatArray) -> FloatArray:
        """The planned start, which is noted when all was there before [min].

        Raises:
            ValueError: it cannot start then.
        """
        (earliest,) = earliest_min
        if earliest > step.start_min:
            _, stage, _ = step.line
            tray = self.way.rounds[step.rounds[0]].tray.id
            raise ValueError(
                f"Cannot follow the plan: the {stage} takes tray {tray} on at {step.start_min} min, must not before"
                f" {earliest:g} min. Plan the day anew."
            )
        if earliest < step.start_min:
            self.held_min[step] = step.start_min
        return np.array([float(step.start_min)])


def _on(days: NDArray[np.bool_]) -> Days:
    """The days on which it is so."""
    return ALL if days.all() else np.flatnonzero(days)
