"""Many days at once against one day at a time, and days that can be followed by hand."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from random import Random
from typing import Any

import numpy as np
import pytest

from lists.chances.following import Course, Line, Step, course, servers_free_at
from lists.chances.noise import NONE, USUAL, Draws, Exponential, FloatArray, LoadPolicy, Noise, Triangular
from lists.chances.queueing import Days
from lists.chances.trying import ASSEMBLY, FIRST_PICKUP, MACHINES, OVERRUN, PICKUP, PRECLEAN, REPEAT, _held_min, _Run
from lists.chances.trying import on_shelf_min as tried
from lists.plans.scenario import Batch, CaseDemand, Plan, PlannedCase, Scenario, Template, Tray, TrayState, Work
from lists.plans.sites import Site, Stage
from tests.lists.planned import plan_of, random_day

EACH_SEED = pytest.mark.parametrize("seed", range(25))


def some_course(seed: int) -> Course:
    random = Random(seed)
    day = random_day(random, trays=random.randint(4, 16), cases=random.randint(4, 24), sites=random.randint(1, 2))
    return course(day, plan_of(day, seed=seed, idle=random.choice([0, 0.3])))


class OneByOne:
    """The textbook form: servers as (days, servers) with the least sought, a load is there with its last member."""

    def __init__(self, way: Course, noise: Noise, draws: Draws) -> None:
        self.way, self.day, self.noise, self.draws = way, way.scenario, noise, draws
        self.held = _held_min(way)
        self.free: dict[tuple[int, Stage], FloatArray] = {}
        self.there: list[FloatArray] = [np.zeros(draws.days) for _ in way.rounds]
        self.left = [list(made.stages) for made in way.rounds]
        self.loads: dict[tuple[int, Stage], int] = defaultdict(int)
        self.number = {tray.id: place for place, tray in enumerate(self.day.trays)}

    def run(self) -> FloatArray:
        for position, made in enumerate(self.way.rounds):
            if made.number == 0:
                self.there[position] = self.begins(made.tray)
                self.used(position)
        for step in self.way.steps:
            ends = self.ends(step)
            for position in step.rounds:
                assert self.left[position].pop(0) is step.line[1]
                cools = step.line[1] is Stage.STERILISER
                self.there[position] = ends + (self.day.wait_min(self.way.rounds[position].tray) if cools else 0)
                self.used(position)
        return np.array(self.there)

    def begins(self, tray: Tray) -> FloatArray:
        begins = np.full(self.draws.days, float(tray.free_at_min or 0))
        if tray.state in (TrayState.IN_WASHER, TrayState.IN_STERILISER):
            begins += self.draws.of(self.noise.pickup_min, 0, FIRST_PICKUP, self.number[tray.id])
        return begins + self.day.wait_min(tray) if tray.state is TrayState.IN_STERILISER else begins

    def used(self, position: int) -> None:
        made, rounds = self.way.rounds[position], self.way.rounds
        again = position + 1 < len(rounds) and rounds[position + 1].tray is made.tray
        if made.serves and again and not self.left[position]:
            factor = self.draws.of(self.noise.overrun, 1, OVERRUN, self.day.cases.index(made.serves))
            on_table = self.there[position] + self.day.move_min(made.serves, made.tray) + self.day.prepare_min
            over = np.maximum(made.serves.start_min, on_table) + made.serves.duration_min * factor
            self.there[position + 1] = over + self.day.return_min
            self.used(position + 1)

    def ends(self, step: Step) -> FloatArray:
        place, every = step.line[:2], np.arange(self.draws.days)
        if place not in self.free:
            first_free = np.array(servers_free_at(self.day, step.line), dtype=float)
            self.free[place] = np.tile(first_free, (self.draws.days, 1))
        server = self.free[place].argmin(axis=1)
        there = [self.there[position] for position in step.rounds]
        begins = np.max([self.free[place][every, server], *there], axis=0)
        ends: FloatArray = self.lasts(step) + np.maximum(begins, self.held.get(step, 0))
        self.free[place][every, server] = ends
        return ends

    def lasts(self, step: Step) -> FloatArray:
        site, stage, _ = step.line
        made = self.way.rounds[step.rounds[0]]
        if stage not in MACHINES:
            noise = {Stage.PRECLEAN: (self.noise.preclean, PRECLEAN), Stage.ASSEMBLY: (self.noise.assembly, ASSEMBLY)}
            spread, what = noise[stage]
            return step.minutes * self.draws.of(spread, 1, what, self.number[made.tray.id], made.number)
        key = (list(Stage).index(stage), site, False, self.loads[site, stage])
        self.loads[site, stage] += 1
        repeat = self.noise.wash_repeat if stage is Stage.WASHER else self.noise.steriliser_repeat
        pickup = self.draws.of(self.noise.pickup_min, 0, PICKUP, *key)
        return step.minutes * self.draws.cycles(repeat, REPEAT, *key) + pickup


@EACH_SEED
def test_all_days_at_once_are_the_days_one_by_one(seed: int) -> None:
    way, draws = some_course(seed), Draws(40, seed)
    noise = replace(USUAL, policy=LoadPolicy.WAIT, wash_repeat=0.2, steriliser_repeat=0.1)
    assert tried(way, noise, draws) == pytest.approx(OneByOne(way, noise, draws).run(), rel=1e-12)


class Watched(_Run):
    """Keeps what every load took and when, and how often each tray came how far."""

    def __init__(self, way: Course, noise: Noise, draws: Draws, held_min: dict[Step, int]) -> None:
        super().__init__(way, noise, draws, held_min)
        self.came = np.zeros((len(way.rounds), 5, draws.days), dtype=int)
        self.at = np.zeros((len(way.rounds), 5, draws.days))
        self.loads: list[tuple[Line, FloatArray, list[tuple[int, Days]]]] = []

    def arrive(self, position: int, passed: int, there_min: FloatArray, days: Days, minute: int) -> None:
        self.came[position, passed, days] += 1
        self.at[position, passed, days] = there_min
        super().arrive(position, passed, there_min, days, minute)

    def boarding(
        self, line: Line, begins_min: FloatArray, members: Sequence[tuple[int, Days]]
    ) -> list[tuple[int, Days]]:
        aboard = super().boarding(line, begins_min, list(members))
        self.loads.append((line, begins_min, [*members, *aboard]))
        return aboard


@EACH_SEED
@pytest.mark.parametrize("policy", LoadPolicy)
def test_every_tray_passes_every_stage_once_on_every_day_and_no_machine_holds_too_much(
    seed: int, policy: LoadPolicy
) -> None:
    way, draws = some_course(seed), Draws(60, seed)
    noise = replace(USUAL, policy=policy, cutoff_min=3, wash_repeat=0.2, steriliser_repeat=0.1)
    run = Watched(way, noise, draws, _held_min(way))
    assert np.isfinite(run.run()).all()
    for position, made in enumerate(way.rounds):
        assert (run.came[position, : len(made.stages) + 1] == 1).all()
        assert (np.diff(run.at[position, : len(made.stages) + 1], axis=0) >= 0).all()
    ends = defaultdict(list)
    for line, begins, aboard in run.loads:
        site, stage, programme = line
        units = np.zeros(draws.days, dtype=int)
        for position, days in aboard:
            template = way.scenario.template_of(way.rounds[position].tray)
            assert programme in ("", template.programme)
            units[days] += template.load_units
            before = way.rounds[position].stages.index(stage)
            assert (run.at[position, before, days] <= begins[days]).all()
        assert (units <= way.scenario.sites[site].capacity(stage)).all()
        assert ((units > 0) == np.isfinite(begins)).all()
        minutes = 75 if stage is Stage.WASHER else way.scenario.programme_min[programme]
        ends[site, stage].append((begins, begins + minutes))
    for (site, stage), spans in ends.items():
        for begins, _ in spans:
            at_once = np.sum([(start <= begins) & (begins < end) for start, end in spans], axis=0)
            assert (at_once[np.isfinite(begins)] <= len(way.scenario.sites[site].free_at_min(stage))).all()


def washing(washers: int, *loads: tuple[int, ...], free_at_min: Sequence[int] = (0, 0), wait_min: int = 0) -> Course:
    """Trays pre-cleaned one after the other in 10 min, then washed for 60 min; the first load fills a washer."""
    trays = tuple(Tray(number, 0, 0, TrayState.DIRTY, free) for number, free in enumerate(free_at_min))
    site = Site(1, 1, len(loads[0]) if loads else 2, (0,) * washers, 2, (0,))
    day = Scenario((Template(0, 10, 15, "A"),), trays, (), (site,), 60, {"A": 50}, 30, 180, 10, 45, 15, 25, 2)
    work, batches, bench, free = [], [], 0, [0] * washers
    for tray in trays:
        start = max(bench, tray.free_at_min or 0)
        bench = start + 10
        work.append(Work(tray.id, Stage.PRECLEAN, start, bench))
    for load in loads:
        start = max(min(free), *(work[tray].end_min for tray in load)) + wait_min
        free[free.index(min(free))] = start + 60
        batches.append(Batch(0, Stage.WASHER, start, start + 60, load))
    return course(day, Plan(0, 0, None, 0, False, (), tuple(batches), tuple(work)))


def washed_min(way: Course, factor: float, **more: Any) -> list[float]:
    """When each tray is washed if every pre-cleaning takes so many times its minutes."""
    noise = replace(Noise(preclean=Triangular(factor, factor, factor), cutoff_min=5), **more)
    (day,) = tried(way, noise, Draws(1, 1)).T
    return [float(minute) for minute in day]


def test_a_load_leaves_without_who_is_late_and_one_more_is_run() -> None:
    """Pre-cleaned at 20 and 40 instead of 10 and 20: the load of 20 leaves at 25, the cut-off, without the second."""
    assert washed_min(washing(1, (0, 1)), 1) == [80, 80]
    assert washed_min(washing(1, (0, 1)), 2, policy=LoadPolicy.WAIT) == [100, 100]
    assert washed_min(washing(1, (0, 1)), 2) == [85, 85 + 60]
    assert washed_min(washing(2, (0, 1)), 2) == [85, 40 + 60]


def test_who_missed_a_load_takes_the_next_with_room() -> None:
    """The second load waits for the washer until 85; a third tray is there at 80, with or without a fourth at 85."""
    assert washed_min(washing(1, (0, 1), (2,), free_at_min=(0, 0, 60)), 2) == [85, 145, 145]
    full = washing(1, (0, 1), (2, 3), free_at_min=(0, 0, 40, 40))
    assert washed_min(full, 2) == [85, 205, 145, 145]


def test_a_load_of_which_nobody_is_there_leaves_with_the_first() -> None:
    assert washed_min(washing(1, (0,), free_at_min=(0,)), 3) == [90]
    assert washed_min(washing(1, (0, 1)), 3) == [90, 150]


def test_two_who_missed_their_load_share_one_more() -> None:
    """Pre-cleaned at 20, 40 and 60: the load of 30 leaves at 35; the washer is free again at 95, another at once."""
    assert washed_min(washing(1, (0, 1, 2), free_at_min=(0, 0, 0)), 2) == [95, 155, 155]
    assert washed_min(washing(2, (0, 1, 2), free_at_min=(0, 0, 0)), 2) == [95, 100, 155]


def test_what_is_early_goes_on_early_unless_the_plan_lets_it_wait() -> None:
    assert washed_min(washing(1, (0, 1)), 0.5) == [70, 70]
    assert washed_min(washing(1, (0, 1), wait_min=7), 0.5) == [87, 87]


def test_a_cycle_that_is_run_again_takes_all_its_members_along() -> None:
    noise = Noise(wash_repeat=0.3)
    first, second = tried(washing(1, (0, 1)), noise, Draws(4000, 1))
    assert (first == second).all()
    assert np.mean(first == 80) == pytest.approx(0.7, abs=0.02)
    assert np.mean(first == 140) == pytest.approx(0.21, abs=0.02)


def test_a_load_stands_until_it_is_picked_up_and_so_does_what_is_in_a_machine_when_the_day_begins() -> None:
    noise = Noise(pickup_min=Exponential(5))
    first, _ = tried(washing(1, (0, 1)), noise, Draws(4000, 1))
    assert first.min() >= 80
    assert np.mean(first - 80) == pytest.approx(5, abs=0.3)
    states = (TrayState.IN_WASHER, TrayState.IN_STERILISER)
    trays = tuple(Tray(number, 0, 0, state, 40) for number, state in enumerate(states))
    cases = tuple(CaseDemand(number, 0, 500, 30, 1, (0,)) for number in range(2))
    day = replace_day(washing(1, (0, 1)).scenario, trays=trays, cases=cases)
    work, load = Work(0, Stage.ASSEMBLY, 40, 55), Batch(0, Stage.STERILISER, 55, 105, (0,))
    planned = tuple(PlannedCase(number, number, 0, 475, on_time=True) for number in range(2))
    way = course(day, Plan(0, 0, None, 0, False, planned, (load,), (work,)))
    assert tried(way, NONE, Draws(1, 1)).tolist() == [[135], [70]]
    washer, steriliser = tried(way, noise, Draws(4000, 1))
    assert np.mean(washer - 135) == pytest.approx(10, abs=0.4)
    assert np.mean(steriliser - 70) == pytest.approx(5, abs=0.3)


def test_a_case_that_begins_late_or_runs_over_gives_its_tray_back_late() -> None:
    """The tray is on the shelf at 200 instead of 170: 25 min later its case begins, at 225 and not at 200."""
    trays = (Tray(0, 0, 0, TrayState.DIRTY, 0),)
    cases = (CaseDemand(0, 0, 200, 60, 1, (0,)), CaseDemand(1, 0, 900, 60, 1, (0,)))
    day = replace_day(washing(1).scenario, trays=trays, cases=cases)
    work, loads, planned = [], [], []
    for case, start in enumerate((0, 285)):
        work += [Work(0, Stage.PRECLEAN, start, start + 10), Work(0, Stage.ASSEMBLY, start + 70, start + 85)]
        loads += [Batch(0, Stage.WASHER, start + 10, start + 70, (0,))]
        loads += [Batch(0, Stage.STERILISER, start + 85, start + 135, (0,))]
        planned.append(PlannedCase(case, 0, start + 165, 0, on_time=True))
    way = course(day, Plan(0, 0, None, 0, False, tuple(planned), tuple(loads), tuple(work)))
    slow = Triangular(4.5, 4.5, 4.5)
    assert tried(way, NONE, Draws(1, 1)).T.tolist() == [[165, 450]]
    assert tried(way, Noise(preclean=slow), Draws(1, 1)).T.tolist() == [[200, 225 + 60 + 25 + 200]]
    twice = Noise(overrun=Triangular(2, 2, 2))
    assert tried(way, twice, Draws(1, 1)).T.tolist() == [[165, 450 + 60]]


def replace_day(day: Scenario, **changes: Any) -> Scenario:
    names = [name for name in Scenario.__dataclass_fields__ if not name.startswith("_")]
    return Scenario(**{**{name: getattr(day, name) for name in names}, **changes})
