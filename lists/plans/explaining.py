"""Why a case is late: the first cause, in a fixed order, without which it could be on time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from lists.plans.candidates import Candidate, site_jobs
from lists.plans.jobs import Day, Job
from lists.plans.scenario import TrayState
from lists.plans.schedule import list_schedule, starts
from lists.plans.sites import Stage

NO_TRAY_OF_TEMPLATE = "no_tray_of_template"
ALL_QUARANTINED = "all_quarantined"
BI_HOLD = "bi_hold"
LOAN_RETURN = "loan_return"
CHAIN_TOO_LONG = "chain_too_long"
CLOSED_TIME = "closed_time"
TOGETHER = "together"
TRAYS_TAKEN = "trays_taken"
QUEUE = "queue_"

Cause = tuple[str, str]  # slug, sentence
NEVER_URGENT_MIN = 10**9


def explained(day: Day, plan: Candidate, case: int) -> Cause:
    """Why a case is late in a plan.

    Args:
        day: the day.
        plan: the plan.
        case: position of the case.

    Returns:
        The cause as a slug, and a sentence with minutes. In this order: no tray of an accepted template; all of them
        quarantined; the best of them, alone, late because of the hold for implants, because a loan comes back
        too late, because of closed times, or because what is left to be done takes too long; the same is so of a case
        that it stands or falls with; all that alone would be in time serve others; else
        the stage where the best free one would wait longest.
    """
    trays = list(day.moves[case])
    if not trays:
        return NO_TRAY_OF_TEMPLATE, "There is no tray of a template that the case accepts."
    in_time = [tray for tray in trays if day.can_serve(tray, case)]
    if not in_time:
        return _alone_late(day, case, trays)
    for mate in day.mates[case]:
        if not any(day.can_serve(tray, mate) for tray in day.moves[mate]):
            return (
                TOGETHER,
                f"It stands or falls with case {day.scenario.cases[mate].id}, which no tray serves in time.",
            )
    served = day.served(plan.assignment)
    free = [tray for tray in in_time if day.possible(tray, _with(day, served.get(tray, ()), case))]
    if not free:
        return _taken(day, in_time, [served[tray] for tray in in_time])
    return _queued(day, plan, case, free)


def _with(day: Day, cases: Sequence[int], case: int) -> list[int]:
    return sorted([*cases, case], key=day.by_start.index)


def _alone_late(day: Day, case: int, trays: Sequence[int]) -> Cause:
    """No tray, alone, would be in time."""
    scenario = day.scenario
    if all(scenario.trays[tray].state is TrayState.QUARANTINED for tray in trays):
        return ALL_QUARANTINED, _quarantined(day, case, trays)
    ready = {tray: minute for tray in trays if (minute := day.alone_min(tray)) is not None}
    if not ready:
        loans = [tray for tray in trays if scenario.trays[tray].state is TrayState.ON_LOAN]
        if loans and all(not scenario.trays[tray].usable for tray in trays):
            return LOAN_RETURN, f"Tray {scenario.trays[loans[0]].id} is on loan, and nobody knows when it comes back."
        if _in_time_if_open(day, case, trays):
            return CLOSED_TIME, "All that could serve it waits for what is closed; without that one would be in time."
        return CHAIN_TOO_LONG, "No tray of an accepted template has a bench and a machine for all that is left to do."
    return _best_late(day, case, ready)


def _best_late(day: Day, case: int, ready: Mapping[int, int]) -> Cause:
    """Even the best tray, alone, is ready too late."""
    scenario = day.scenario
    best = min(ready, key=lambda tray: (ready[tray] - day.deadline_min[case][tray], tray))
    short = ready[best] - day.deadline_min[case][best]
    said = f"tray {scenario.trays[best].id}, alone, is sterile at minute {ready[best]}, {short} min too late"
    for tray, minute in ready.items():
        route = day.first[tray]
        held = scenario.implant_hold_min - scenario.cooling_min
        waits = route is not None and route.wait_min > scenario.cooling_min
        if waits and minute - held <= day.deadline_min[case][tray]:
            return BI_HOLD, f"Even the best, {said}; without the hold for implants ({held} min) one would be in time."
    for tray in ready:
        there = scenario.trays[tray]
        route = day.first[tray]
        if there.state is TrayState.ON_LOAN and route is not None:
            at_once = route.alone_min(scenario.sites[there.site], 0)
            if at_once <= day.deadline_min[case][tray]:
                return LOAN_RETURN, f"Tray {there.id} comes back from loan at minute {there.free_at_min}: {said}."
    if _in_time_if_open(day, case, ready):
        return CLOSED_TIME, f"Even the best, {said}; without closed times and shifts one would be in time."
    return CHAIN_TOO_LONG, f"What is left to be done takes too long: the best, {said}."


def _in_time_if_open(day: Day, case: int, trays: Iterable[int]) -> bool:
    """Whether one of the trays, alone, would be in time if all were open and manned round the clock."""
    for tray in trays:
        route, release = day.way(tray)
        site = day.scenario.sites[day.site_of[tray]].round_the_clock
        if route is not None and route.alone_min(site, release) <= day.deadline_min[case][tray]:
            return True
    return False


def _quarantined(day: Day, case: int, trays: Sequence[int]) -> str:
    if not any(day.scenario.trays[tray].usable for tray in trays):
        return f"All {len(trays)} trays of the accepted templates are quarantined."
    late = min(minute - day.deadline_min[case][tray] for tray in trays if (minute := day.alone_min(tray)) is not None)
    return f"All {len(trays)} trays of the accepted templates are quarantined; the first is free {late} min too late."


def _taken(day: Day, trays: Sequence[int], cases: Sequence[Sequence[int]]) -> Cause:
    scenario = day.scenario
    holders = sorted({scenario.cases[one].id for served in cases for one in served})
    named = ", ".join(str(scenario.trays[tray].id) for tray in trays)
    others = ", ".join(map(str, holders))
    return TRAYS_TAKEN, f"Trays that alone would be in time: {named}. They serve the cases {others}."


def _queued(day: Day, plan: Candidate, case: int, free: Sequence[int]) -> Cause:
    """A tray is free, but benches and machines are not: where it would wait longest, if it went last."""
    found: list[tuple[int, int, Stage, int, int]] = []
    for tray in free:
        site = day.site_of[tray]
        jobs, job = _beside(day, plan, tray, case)
        last = replace(job, deadline_min=NEVER_URGENT_MIN)
        table = list_schedule(day.scenario.sites[site], [*jobs, last], patience_min=0)
        waits, arrival = {}, job.release_min
        runs = starts(table.runs)
        for stage, _ in job.route.stages:
            waits[stage] = runs[case, stage].start_min - arrival
            arrival = runs[case, stage].end_min
        if not waits:  # on the shelf, and yet of no use: another case of this tray would be late
            return _taken(day, [tray], [day.served(plan.assignment).get(tray, ())])
        stage = max(waits, key=lambda one: waits[one])
        found.append((table.ready_min[case] - job.deadline_min, tray, stage, waits[stage], sum(waits.values())))
    late, tray, stage, wait, queued = min(found)
    said = (
        f"Tray {day.scenario.trays[tray].id} is free, but queues for {queued} min, {wait} of them at the stage {stage}"
    )
    if late > 0:
        return f"{QUEUE}{stage}", f"{said}, and is {late} min too late."
    return f"{QUEUE}{stage}", f"{said}; it could be in time only by making another case late."


def _beside(day: Day, plan: Candidate, tray: int, case: int) -> tuple[list[Job], Job]:
    """The jobs of a tray's site when it serves one more case: those of the others, and that one."""
    assignment = list(plan.assignment)
    assignment[case] = tray
    jobs = site_jobs(day, tuple(assignment))[day.site_of[tray]]
    return [job for job in jobs if job.case != case], next(job for job in jobs if job.case == case)
