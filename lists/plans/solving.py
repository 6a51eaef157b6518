"""One measure of the plan after the other brought to its best, by CP-SAT."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from lists.plans.candidates import Candidate, Worth, site_jobs, valued
from lists.plans.formulation import Model, merged
from lists.plans.jobs import Day
from lists.plans.schedule import replay

POLL_S = 0.05  # how soon a wish to stop is heard
ROUNDING = 1e-6  # how far from whole a bound may come back


class Phase(StrEnum):
    """What is brought to its best, with the earlier ones held."""

    WEIGHT = "weight"
    SLACK = "slack"
    MOVES = "moves"


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try.

    Args:
        seconds: limit for one question, by the clock; with one worker in the solver's own deterministic time [s].
        workers: threads of the solver.
        seed: of its random choices.
        stop: asked every now and then whether to end at once.
    """

    seconds: float
    workers: int
    seed: int
    stop: Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Solved:
    """What came of it.

    Args:
        candidate: the best plan, never worse than the one that was known.
        bound: what the measure cannot exceed (moves: go below), as far as is known; the best plan reaches it when
            the model has none that is better.
    """

    candidate: Candidate
    bound: int


def solved(day: Day, model: Model, known: Candidate, phase: Phase, *, limit: int, effort: Effort) -> Solved:
    """The best of one measure, with the earlier ones no worse than in the plan that is known.

    Args:
        day: the day.
        model: the programme, new for each phase.
        known: a plan to begin at.
        phase: the measure.
        limit: a bound of the measure that is known to hold for all of the model's plans that keep the earlier ones.
        effort: how hard to try.
    """
    from ortools.sat.python import cp_model  # noqa: PLC0415 - takes half a second

    _ask(day, model, known, phase, limit)
    model.hint(known)
    solver = cp_model.CpSolver()
    if effort.workers == 1:
        solver.parameters.max_deterministic_time = max(effort.seconds, 0.01)
    else:
        solver.parameters.max_time_in_seconds = max(effort.seconds, 0.01)
    solver.parameters.num_workers = effort.workers
    solver.parameters.random_seed = effort.seed
    status = _stoppable(solver, model, effort.stop)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved(known, limit)
    found = taken(day, model, known, solver.value)
    bound = solver.best_objective_bound
    if phase is Phase.MOVES:
        return Solved(max(found, known, key=_worth), max(limit, math.ceil(bound - ROUNDING)))
    return Solved(max(found, known, key=_worth), min(limit, math.floor(bound + ROUNDING)))


def _worth(candidate: Candidate) -> Worth:
    return candidate.worth


def _ask(day: Day, model: Model, known: Candidate, phase: Phase, limit: int) -> None:
    programme = model.programme
    weight = sum(day.weight[case] for case in model.cases if known.assignment[case] is not None)
    programme.add(model.weight >= weight)
    if phase is Phase.WEIGHT:
        programme.add(model.weight <= limit)
        programme.maximize(model.weight)
    elif phase is Phase.SLACK:
        programme.add(model.least_slack <= limit)
        programme.add(model.least_slack >= known.worth[1])
        programme.maximize(model.least_slack)
    else:
        programme.add(model.least_slack == known.worth[1])
        programme.add(model.moves >= limit)
        programme.minimize(model.moves)


def _stoppable(solver: Any, model: Model, stop: Callable[[], bool]) -> Any:
    """Solve, listening all the while for a wish to stop."""
    over = threading.Event()

    def listen() -> None:
        while not over.wait(POLL_S):
            if stop():
                solver.stop_search()

    listener = threading.Thread(target=listen, daemon=True)
    listener.start()
    try:
        return solver.solve(model.programme)
    finally:
        over.set()
        listener.join()


def taken(day: Day, model: Model, known: Candidate, value: Callable[[Any], int]) -> Candidate:
    """The plan that a solution means: everything as early as its order and loads allow."""
    assignment = merged(known.assignment, model.assignment(value), model.cases)
    runs, jobs = model.runs(value), site_jobs(day, assignment)
    tables = list(known.tables)
    for site in {day.site_of[use.tray] for use in model.uses.values()}:
        tables[site] = replay(day.scenario.sites[site], jobs[site], runs.get(site, []))
    return valued(day, assignment, tables)
