"""Days and plans at random, for what follows plans: laid one tray after the other, with idle minutes where wanted."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from lists.plans.scenario import (
    ALL_STAGES,
    STAGES_LEFT,
    Batch,
    CaseDemand,
    Plan,
    PlannedCase,
    Scenario,
    Template,
    Tray,
    TrayState,
    Work,
)
from lists.plans.sites import Site, Stage

MACHINES = (Stage.WASHER, Stage.STERILISER)


def random_day(random: Random, *, trays: int, cases: int, sites: int = 1) -> Scenario:
    return Scenario(
        tuple(random_template(random, number) for number in range(4)),
        tuple(random_tray(random, number, sites) for number in range(trays)),
        tuple(random_case(random, number, sites) for number in range(cases)),
        tuple(random_site(random) for _ in range(sites)),
        washer_min=75,
        programme_min={"A": 50, "B": 75},
        cooling_min=30,
        implant_hold_min=180,
        move_same_site_min=10,
        move_other_site_min=45,
        prepare_min=15,
        return_min=25,
        uses_per_tray=2,
    )


def random_template(random: Random, number: int) -> Template:
    implant, units = random.random() < 0.2, random.randint(1, 2)
    return Template(number, random.randint(0, 15), random.randint(0, 30), random.choice("AB"), implant, units)


def random_tray(random: Random, number: int, sites: int) -> Tray:
    state, free_at_min = random.choice(list(TrayState)), random.choice([None, 0, random.randint(1, 200)])
    return Tray(number, random.randrange(4), random.randrange(sites), state, free_at_min)


def random_case(random: Random, number: int, sites: int) -> CaseDemand:
    start_min, duration_min, weight = random.randint(60, 900), random.randint(10, 120), random.randint(1, 5)
    accepts = tuple(random.sample(range(4), random.randint(1, 3)))
    return CaseDemand(number, random.randrange(sites), start_min, duration_min, weight, accepts)


def random_site(random: Random) -> Site:
    washers, sterilisers = (tuple(random.randint(0, 60) for _ in range(random.randint(1, 2))) for _ in range(2))
    capacities = random.randint(2, 6), random.randint(2, 6)
    return Site(random.randint(1, 3), random.randint(1, 3), capacities[0], washers, capacities[1], sterilisers)


@dataclass
class Planner:
    """Lays one tray after the other: each bench and machine goes on where it ended, a tray joins a load with room."""

    day: Scenario
    random: Random
    idle: float = 0.0
    work: list[Work] = field(default_factory=list)
    loads: list[tuple[Batch, int, str]] = field(default_factory=list)
    free: dict[tuple[int, Stage], list[int]] = field(default_factory=dict)

    def plan(self) -> Plan:
        usable = [tray for tray in self.day.trays if tray.usable]
        dirty: dict[int, int] = {}
        uses = dict.fromkeys((tray.id for tray in usable), 0)
        planned = {}
        for case in sorted(self.day.cases, key=lambda case: case.start_min):
            able = [tray for tray in usable if tray.template in case.accepts and uses[tray.id] < 2]
            if not able:
                planned[case.id] = PlannedCase(case.id, None, None, self.day.deadline_min(case), on_time=False)
                continue
            tray = min(able, key=lambda tray: (uses[tray.id], self.random.random()))
            ready = self.lay(tray, dirty.get(tray.id))
            deadline = self.day.deadline_min(case, tray)
            planned[case.id] = PlannedCase(case.id, tray.id, ready, deadline, on_time=ready <= deadline)
            uses[tray.id] += 1 if ready <= deadline else 2
            dirty[tray.id] = self.day.dirty_again_min(case)
        cases = tuple(planned[case.id] for case in self.day.cases)
        return Plan(0, 0, None, 0, False, cases, tuple(load for load, _, _ in self.loads), tuple(self.work))

    def lay(self, tray: Tray, dirty_min: int | None) -> int:
        at = (tray.free_at_min or 0) if dirty_min is None else dirty_min
        stages = STAGES_LEFT[tray.state] if dirty_min is None else ALL_STAGES
        for stage in stages:
            at = self.load(tray, stage, at) if stage in MACHINES else self.bench(tray, stage, at)
        cools = bool(stages) or tray.state is TrayState.IN_STERILISER
        return at + self.day.wait_min(tray) if cools else at

    def bench(self, tray: Tray, stage: Stage, at: int) -> int:
        start, end = self.take(tray, stage, at)
        self.work.append(Work(tray.id, stage, start, end))
        return end

    def load(self, tray: Tray, stage: Stage, at: int) -> int:
        programme = self.day.template_of(tray).programme if stage is Stage.STERILISER else ""
        units = self.day.template_of(tray).load_units
        trays = {tray.id: tray for tray in self.day.trays}
        for number, (load, used, kind) in enumerate(self.loads):
            same = (trays[load.trays[0]].site, load.stage, kind) == (tray.site, stage, programme)
            if same and load.start_min >= at and used + units <= self.day.sites[tray.site].capacity(stage):
                members = (*load.trays, tray.id)
                joined = Batch(load.machine, stage, load.start_min, load.end_min, members)
                self.loads[number] = (joined, used + units, kind)
                return load.end_min
        start, end = self.take(tray, stage, at)
        self.loads.append((Batch(0, stage, start, end, (tray.id,)), units, programme))
        return end

    def take(self, tray: Tray, stage: Stage, at: int) -> tuple[int, int]:
        site = self.day.sites[tray.site]
        free = list(site.free_at_min(stage)) if stage in MACHINES else [0] * site.benches(stage)
        servers = self.free.setdefault((tray.site, stage), free)
        first = servers.index(min(servers))
        start = max(at, servers[first]) + (self.random.randint(0, 30) if self.random.random() < self.idle else 0)
        servers[first] = start + self.day.stage_min(tray, stage)
        return start, servers[first]


def plan_of(day: Scenario, *, seed: int = 1, idle: float = 0.0) -> Plan:
    return Planner(day, Random(seed), idle).plan()
