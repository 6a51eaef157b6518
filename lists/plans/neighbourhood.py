"""A large day, one site at a time: what the others do stays, and the site is planned anew as well as can be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from lists.plans.candidates import SLACK_CAP_MIN, Candidate
from lists.plans.formulation import Model
from lists.plans.jobs import Day
from lists.plans.solving import Effort, Phase, solved

ROUNDS = 2


def by_sites(day: Day, best: Candidate, phase: Phase, *, limit: int, effort: Effort) -> Candidate:
    """Improve one measure site by site, the earlier ones held.

    Args:
        day: the day.
        best: where the search begins.
        phase: the measure.
        limit: what it cannot exceed (moves: go below); once reached, the search ends.
        effort: how hard to try; its seconds are for all sites together.

    Returns:
        A plan that is no worse.
    """
    each = replace(effort, seconds=effort.seconds / (ROUNDS * len(day.scenario.sites)))
    for site in _order(day, best, phase):
        if effort.stop() or _reached(best, phase, limit):
            break
        best = _site(day, best, site, phase, limit=limit, effort=each)
    return best


def _order(day: Day, best: Candidate, phase: Phase) -> Iterator[int]:
    """All sites, those with the least slack first when that is sought, as often as time is kept for."""
    sites = list(range(len(day.scenario.sites)))
    if phase is Phase.SLACK:
        sites.sort(key=lambda site: _slack(day, best, site))
    for _ in range(ROUNDS):
        yield from sites


def _reached(best: Candidate, phase: Phase, limit: int) -> bool:
    weight, slack, moves = best.worth
    return {Phase.WEIGHT: weight, Phase.SLACK: slack, Phase.MOVES: -moves}[phase] == limit


def _site(day: Day, best: Candidate, site: int, phase: Phase, *, limit: int, effort: Effort) -> Candidate:
    trays = day.trays_of[site]
    here = set(trays)
    cases = [
        case
        for case, tray in enumerate(best.assignment)
        if tray in here or (tray is None and not here.isdisjoint(day.deadline_min[case]))
    ]
    model = Model(day, cases, trays)
    if not model.serves:
        return best
    model.hold_together(best.assignment)
    others = [case for case, tray in enumerate(best.assignment) if tray is not None and tray not in here]
    if phase is Phase.WEIGHT:
        limit = min(limit - sum(day.weight[case] for case in others), sum(day.weight[case] for case in cases))
    elif phase is Phase.MOVES:
        elsewhere = ((case, best.assignment[case]) for case in others)
        limit = max(limit - sum(day.moves[case][tray] for case, tray in elsewhere if tray is not None), 0)
    return solved(day, model, best, phase, limit=limit, effort=effort).candidate


def _slack(day: Day, best: Candidate, site: int) -> int:
    ready = best.tables[site].ready_min
    slacks = [
        day.deadline_min[case][tray] - ready[case]
        for case, tray in enumerate(best.assignment)
        if tray is not None and day.site_of[tray] == site
    ]
    return min(slacks, default=SLACK_CAP_MIN)
