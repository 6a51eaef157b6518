"""The chance that each case of a planned day has its tray in time: the plan, tried on many drawn days."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from lists.chances.following import course
from lists.chances.noise import USUAL, Draws, FloatArray, Noise
from lists.chances.trying import on_shelf_min
from lists.plans.scenario import Plan, Scenario

DAYS = 10_000  # the standard error of a chance is then half a hundredth at most
MOST_DAYS = 100_000
SEED = 1


@dataclass(frozen=True, slots=True)
class CaseChance:
    """How sure the tray of a case is.

    Args:
        case: number of the case.
        chance: share of the days on which its tray is on the shelf by the deadline; 0 when the plan gives it none.
        p50_ready_min: by then it is on the shelf on half of the days [min]; None when it has no tray.
        p90_ready_min: by then it is on nine days of ten [min]; None when it has no tray.
    """

    case: int
    chance: float
    p50_ready_min: float | None
    p90_ready_min: float | None


def chances(
    scenario: Scenario, plan: Plan, noise: Noise = USUAL, *, days: int = DAYS, seed: int = SEED
) -> tuple[CaseChance, ...]:
    """How sure each case of a plan is.

    Args:
        scenario: the day.
        plan: a plan of that day.
        noise: how far days stray from it.
        days: how many days are drawn.
        seed: the same seed gives the same days.

    Returns:
        One entry for each case of the plan, in its order.

    Raises:
        ValueError: the plan cannot be followed on that day, or the number of days is out of range.
    """
    if days > MOST_DAYS:
        raise ValueError(f"Cannot draw days: days is {days}, must be {MOST_DAYS} or fewer.")
    way = course(scenario, plan)
    ready_min = on_shelf_min(way, noise, Draws(days, seed))
    cases = {case.id: case for case in scenario.cases}
    found = []
    for entry in plan.cases:
        if entry.tray is None:
            found.append(CaseChance(entry.case, 0.0, None, None))
            continue
        position = way.serving[entry.case]
        deadline_min = scenario.deadline_min(cases[entry.case], way.rounds[position].tray)
        found.append(_of_case(entry.case, ready_min[position], deadline_min))
    return tuple(found)


def _of_case(case: int, ready_min: FloatArray, deadline_min: int) -> CaseChance:
    """A percentile is the minute of a drawn day: the least by which so many days have the tray ready."""
    places = [ceil(share * len(ready_min)) - 1 for share in (0.5, 0.9)]
    p50_min, p90_min = np.partition(ready_min, places)[places]
    return CaseChance(case, float(np.mean(ready_min <= deadline_min)), float(p50_min), float(p90_min))
