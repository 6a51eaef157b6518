"""A first plan at once: case by case in order of their start, then improved by small changes while time lasts."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

from lists.plans.candidates import Candidate, worked_out
from lists.plans.jobs import Assignment, Day

COOLEST = 0.02  # how often a change for the worse is kept, from the start of the search to its end
WARMEST = 0.10


def earliest_due(day: Day) -> Candidate:
    """Each case in order of its start takes a tray that, alone, would be in time.

    Of these the one with the fewest moves; then the one that is sterile last, so that the quicker remain for others;
    then the first in the list.
    """
    chosen: list[int | None] = [None] * len(day.weight)
    served: dict[int, list[int]] = {}
    for case in day.by_start:
        able = [
            (moves, -ready, tray)
            for tray, moves in day.moves[case].items()
            if len(served.get(tray, ())) < day.scenario.uses_per_tray
            and (ready := day.alone_min(tray, served[tray][-1] if tray in served else None)) is not None
            and ready <= day.deadline_min[case][tray]
        ]
        if able:
            tray = chosen[case] = min(able)[2]
            served.setdefault(tray, []).append(case)
    return worked_out(day, tuple(chosen))


def improved(day: Day, start: Candidate, *, seed: int, turns: int, stop: Callable[[], bool]) -> Candidate:
    """Give late cases the trays of others, who look for another tray, and keep what is not worse.

    Args:
        day: the day.
        start: where the search begins.
        seed: of the random choices.
        turns: how many changes to try.
        stop: asked before each change whether to end at once.

    Returns:
        The best that was seen; the start when nothing was better.
    """
    chance = random.Random(seed)  # noqa: S311 - a search, not a secret
    best = now = start
    for turn in range(turns):
        late = [case for case, tray in enumerate(now.assignment) if tray is None and day.moves[case]]
        if stop() or not now.assignment:
            break
        case = chance.choice(late) if late and chance.random() < 0.8 else chance.randrange(len(now.assignment))
        changed = _moved_together(day, now.assignment, case, chance)
        if changed is None:
            continue
        tried = worked_out(day, changed, known=now, patiences=(chance.choice((0, 0, 20, 45)),))
        heat = WARMEST + (COOLEST - WARMEST) * turn / turns
        if tried.worth >= now.worth or (tried.worth[0] >= now.worth[0] - 2 and chance.random() < heat):
            now = tried
        if now.worth > best.worth:
            best = now
    return best


def _moved_together(day: Day, assignment: Assignment, case: int, chance: random.Random) -> Assignment | None:
    """The choice with a case on another tray, and with trays for those late ones that it stands or falls with."""
    changed = _moved(day, assignment, case, chance)
    for mate in day.mates[case]:
        if changed is not None and changed[mate] is None:
            changed = _moved(day, changed, mate, chance)
    return changed


def _moved(
    day: Day, assignment: tuple[int | None, ...], case: int, chance: random.Random
) -> tuple[int | None, ...] | None:
    """The choice with a case on another tray; who must make room looks for a place, the weightier first."""
    chosen = list(assignment)
    trays = [tray for tray in day.moves[case] if tray != assignment[case] and day.possible(tray, [case])]
    if not trays:
        return None
    served = {tray: list(cases) for tray, cases in day.served(assignment).items()}
    before = chosen[case]
    if before is not None:
        served[before].remove(case)
    tray = chance.choice(trays)
    out = _put(day, served.setdefault(tray, []), tray, case)
    chosen[case] = tray
    for other in sorted(out, key=lambda other: -day.stake[other]):
        chosen[other] = None
        for place in sorted(day.moves[other], key=lambda place: (day.moves[other][place], chance.random())):
            there = _with(day, served.get(place, []), other)
            if place != tray and day.possible(place, there):
                served[place] = there
                chosen[other] = place
                break
    return tuple(chosen)


def _with(day: Day, cases: Sequence[int], case: int) -> list[int]:
    start = day.scenario.cases
    return sorted([*cases, case], key=lambda one: (start[one].start_min, -day.weight[one], one))


def _put(day: Day, cases: list[int], tray: int, case: int) -> list[int]:
    """Put a case on a tray; the others that then cannot stay leave it, the lightest first."""
    out = []
    others = sorted(cases, key=lambda one: (day.stake[one], one))
    kept = _with(day, cases, case)
    while not day.possible(tray, kept):
        leaves = others.pop(0)
        kept.remove(leaves)
        out.append(leaves)
    cases[:] = kept
    return out
