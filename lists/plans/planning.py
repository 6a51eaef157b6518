"""The plan of a day: which tray serves which case, and when each is at which bench and in which load."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from lists.plans.afterwards import afterwards
from lists.plans.bounding import Relaxation, greatest_slack
from lists.plans.candidates import Candidate, worked_out
from lists.plans.explaining import explained
from lists.plans.formulation import Model
from lists.plans.greedy import earliest_due, improved
from lists.plans.jobs import BENCHES, Assignment, Day
from lists.plans.machine_time import MachineTime
from lists.plans.neighbourhood import by_sites
from lists.plans.scenario import Batch, Late, LateCase, Plan, PlannedCase, Scenario, Work
from lists.plans.schedule import Run
from lists.plans.sites import Stage
from lists.plans.solving import Effort, Phase, solved

MOST_AT_ONCE = 120  # cases of one programme; with more, one site after the other
SECONDS = 28.0
SHARES = {Phase.WEIGHT: 0.8, Phase.SLACK: 0.13, Phase.MOVES: 0.07}  # what one leaves the next ones may take
IN_MACHINE_TIME = 0.5  # of the share of the weight; the rest is for all at once
QUESTIONS = 8  # about the time of machines
SCHEDULED_S = 3.0  # longest to schedule one choice
NODES_PER_S = 20  # of the search in the deterministic time of a single worker
TURNS = 300  # of the first search by small changes
RELAXED_S = 5.0  # longest for a question without queues; in a large unit they take half a second

Stop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the planning is.

    Args:
        phase: the measure that is being brought to its best.
        weight: weight on time of the best plan so far.
        bound: what no plan exceeds, as far as is known.
    """

    phase: Phase
    weight: int
    bound: int


def plan(
    scenario: Scenario,
    *,
    seconds: float = SECONDS,
    seed: int = 1,
    workers: int = 2,
    stop: Stop = lambda: False,
    progress: Callable[[Progress], object] = lambda _: None,
) -> Plan:
    """Plan a day.

    In this order: the greatest weight of cases whose tray is sterile in time; the greatest least slack, each counted
    up to 120 min; the fewest moves (a tray of another site, a tray of another than the preferred template). What is
    still equal is settled so: of trays that are alike the earlier in the list serves the earlier case; between plans
    that differ and yet come to the same, the search's choice stands.

    Args:
        scenario: the day.
        seconds: how long to seek, in all: four fifths for weight, the rest for slack and moves, and to them what
            the weight leaves. The first plan is there at once and is not counted [s].
        seed: of the random choices.
        workers: threads of the solver. With one, `seconds` are the solver's own deterministic time, and the
            same question has the same answer; with more, the answer may differ where time did not suffice.
        stop: asked all the while; once it says yes, the best plan so far is the answer.
        progress: told now and then how far it is.

    Returns:
        A plan that keeps every rule, never worse than taking the cases by their start. `proven` only when no plan
        is better in any of the three measures; `bound` holds in any case.

    Source:
        Assignment and hybrid flow shop with batch machines; CP-SAT (OR-Tools) for what must queue, HiGHS by way of
        scipy for what need not; Johnson, S. M. (1954), Optimal two- and three-stage production schedules with
        setup times included, for the special case that the tests hold it to.
    """
    search = _Search(Day(scenario), Effort(seconds, workers, seed, stop), progress)
    search.begin()
    for phase in Phase:
        search.pursue(phase)
    return _written(search)


class _Search:
    """The best plan so far, and what is proven of it."""

    def __init__(self, day: Day, effort: Effort, progress: Callable[[Progress], object]) -> None:
        self.day, self.effort, self.progress = day, effort, progress
        self.best = earliest_due(day)
        self.bound = sum(day.weight)
        self.proven = True  # of the phases that are over
        self.seconds = effort.seconds  # what is left of them

    def begin(self) -> None:
        """A good plan at once: choices without queues, scheduled, and improved by small changes."""
        self._tell(Phase.WEIGHT)
        if self.effort.stop():
            return
        relaxation = Relaxation(self.day)
        relaxed = relaxation.greatest_weight(RELAXED_S)
        self.bound = relaxed.bound
        self._offer(relaxed.assignment)
        self._offer(relaxation.fewest_moves(self.bound, RELAXED_S).assignment)
        self._tell(Phase.WEIGHT)

    def pursue(self, phase: Phase) -> None:
        """Bring one measure to its best, the earlier ones held."""
        if self.effort.stop():
            self.proven = False
            return
        limit = self._limit(phase)
        if self._value(phase) != limit:
            limit = self._sought(phase, limit)
        if phase is Phase.WEIGHT:
            self.bound = limit
        self.proven = self.proven and self._value(phase) == limit
        self._tell(phase)

    def _sought(self, phase: Phase, limit: int) -> int:
        """Seek a better plan; what the measure cannot exceed, as far as is then known."""
        cases, began = range(len(self.day.weight)), time.monotonic()
        if phase is Phase.WEIGHT:
            turns = TURNS if len(cases) <= MOST_AT_ONCE else TURNS // 10
            self.best = improved(self.day, self.best, seed=self.effort.seed, turns=turns, stop=self.effort.stop)
        seconds = self.effort.seconds * SHARES[phase]
        if self.effort.workers > 1:
            later = sum(SHARES[other] for other in list(Phase)[list(Phase).index(phase) :])
            seconds = self.seconds * SHARES[phase] / later
        if len(cases) > MOST_AT_ONCE:
            effort = replace(self.effort, seconds=seconds)
            self.best = by_sites(self.day, self.best, phase, limit=limit, effort=effort)
        else:
            if phase is Phase.WEIGHT:
                limit = self._in_machine_time(limit, seconds * IN_MACHINE_TIME)
                seconds -= time.monotonic() - began if self.effort.workers > 1 else 0
            if self._value(phase) != limit and not self.effort.stop():
                limit = self._all_at_once(phase, limit, seconds)
        self.seconds -= time.monotonic() - began
        return limit

    def _all_at_once(self, phase: Phase, limit: int, seconds: float, choice: Assignment | None = None) -> int:
        """Seek a better plan among all, or among those of a choice of trays; what these cannot exceed."""
        cases, trays = range(len(self.day.weight)), range(len(self.day.scenario.trays))
        model = Model(self.day, cases, trays, choice)
        effort = replace(self.effort, seconds=seconds)
        found = solved(self.day, model, self.best, phase, limit=limit, effort=effort)
        self.best = found.candidate
        return found.bound

    def _in_machine_time(self, limit: int, seconds: float) -> int:
        """Seek choices of trays that the machines have time for; what the weight cannot exceed, as is then known."""
        question = MachineTime(self.day)
        until = time.monotonic() + seconds
        for _ in range(QUESTIONS if question.small else 0):
            left = until - time.monotonic()
            if self._value(Phase.WEIGHT) == limit or self.effort.stop() or (left <= 0 and self.effort.workers > 1):
                break
            nodes = {"node_limit": math.ceil(NODES_PER_S * seconds)}
            relaxed = question.greatest_weight(
                self.best.worth[0], {"time_limit": left} if self.effort.workers > 1 else nodes
            )
            limit = self.bound = min(limit, relaxed.bound)
            if relaxed.assignment is None:
                break
            self._offer(relaxed.assignment)
            if self._value(Phase.WEIGHT) != limit:
                self._all_at_once(Phase.WEIGHT, limit, min(seconds, SCHEDULED_S), relaxed.assignment)
            self._tell(Phase.WEIGHT)
        return limit

    def _limit(self, phase: Phase) -> int:
        """What the measure cannot exceed (moves: go below) for lack of trays and time alone."""
        weight, slack, _ = self.best.worth
        if phase is Phase.WEIGHT:
            return self.bound
        if phase is Phase.SLACK:
            relaxed = greatest_slack(self.day, weight, longest_s=RELAXED_S)
        else:
            relaxed = Relaxation(self.day, slack).fewest_moves(weight, RELAXED_S)
        self._offer(relaxed.assignment)
        return relaxed.bound

    def _offer(self, assignment: Assignment | None) -> None:
        """Take over a choice without queues if it is the better one once trays queue."""
        if assignment is not None:
            self.best = max(self.best, worked_out(self.day, assignment), key=lambda candidate: candidate.worth)

    def _value(self, phase: Phase) -> int:
        weight, slack, moves = self.best.worth
        return {Phase.WEIGHT: weight, Phase.SLACK: slack, Phase.MOVES: -moves}[phase]

    def _tell(self, phase: Phase) -> None:
        self.progress(Progress(phase, self.best.worth[0], self.bound))


def _written(search: _Search) -> Plan:
    """The plan, with the numbers of the day instead of positions."""
    day, scenario = search.day, search.day.scenario
    best = replace(search.best, assignment=day.tidied(search.best.assignment))
    weight, slack, moves = best.worth
    found = afterwards(day, best) if scenario.late_cases else []
    batches, work = _steps(day, dict(enumerate(best.assignment)), [run for table in best.tables for run in table.runs])
    late = Late(
        tuple(
            LateCase(
                scenario.cases[one.case].id,
                scenario.trays[one.tray].id,
                one.ready_min,
                one.ready_min - day.deadline_min[one.case][one.tray],
            )
            for one in found
        ),
        *_steps(day, {one.case: one.tray for one in found}, [run for one in found for run in one.runs]),
    )
    return Plan(
        weight,
        search.bound,
        slack if any(tray is not None for tray in best.assignment) else None,
        -moves,
        search.proven,
        tuple(_case(day, best, case) for case in range(len(scenario.cases))),
        batches,
        work,
        late if scenario.late_cases else None,
    )


def _steps(
    day: Day, tray_of: Mapping[int, int | None], runs: Iterable[Run]
) -> tuple[tuple[Batch, ...], tuple[Work, ...]]:
    """Loads and bench work of cases with their trays, by start."""
    stages = list(Stage)
    batches, work = [], []
    for run in sorted(runs, key=lambda run: (run.start_min, stages.index(run.stage))):
        trays = [tray for case in run.cases if (tray := tray_of[case]) is not None]
        names = tuple(day.scenario.trays[tray].id for tray in trays)
        if run.stage in BENCHES:
            shifts = day.scenario.sites[day.site_of[trays[0]]].has_calendar(run.stage)
            work.append(Work(names[0], run.stage, run.start_min, run.end_min, run.place if shifts else None))
        else:
            batches.append(Batch(run.place, run.stage, run.start_min, run.end_min, names))
    return tuple(batches), tuple(work)


def _case(day: Day, best: Candidate, case: int) -> PlannedCase:
    demand, tray = day.scenario.cases[case], best.assignment[case]
    if tray is None:
        why, detail = explained(day, best, case)
        return PlannedCase(
            demand.id, None, None, day.scenario.deadline_min(demand), on_time=False, why=why, detail=detail
        )
    ready = best.tables[day.site_of[tray]].ready_min[case]
    return PlannedCase(demand.id, day.scenario.trays[tray].id, ready, day.deadline_min[case][tray], on_time=True)
