"""What could serve a need that has nothing: one free set after the other, first come by start."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from lists.readiness import CaseNeeds, CaseReadiness, Need, after_case, earliest, in_date
from lists.stages import Stage, StageTimes, Whereabouts
from lists.states import Readiness


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What could serve a need that has nothing; both codes empty when nothing free is in time."""

    requirement: int
    case: str
    wants: str
    tray: str = ""
    pack: str = ""


def suggest(
    cases: Iterable[CaseNeeds], sets: Mapping[str, Whereabouts], *, now: datetime, times: StageTimes
) -> tuple[Suggestion, ...]:
    """Free sets for the needs that have none: first come by start.

    Sterile and soonest to expire first, then what can be sterile earliest, then by code. A set that a
    later case is to get is left to it; one that an earlier case has had may serve again if it is back
    in time. Looks no further than one need at a time: it is no plan.

    Args:
        cases: every case of every theatre that shares the sets.
        sets: everything that the unit has, by code.
        now: the moment of asking.
        times: how long the steps take [min].

    Returns:
        One suggestion for each need that has nothing, in order of start.
    """
    in_turn = sorted(cases, key=lambda case: (case.starts_at, case.code))
    standing = dict(sets)
    made = []
    for place, case in enumerate(in_turn):
        later = {need.chosen for other in in_turn[place:] for need in other.needs}
        for need in case.needs:
            code = need.chosen
            if not code and not need.in_hand:
                code = _best(need, case, standing, later, now=now, times=times)
                later.add(code)
                found = standing.get(code)
                made.append(
                    Suggestion(
                        need.requirement,
                        case.code,
                        need.wants,
                        tray=code if found and found.kind == "tray" else "",
                        pack=code if found and found.kind == "pack" else "",
                    )
                )
            if code in standing:
                readiness = CaseReadiness(case.code, case.starts_at, Readiness.COMPLETE, None, (), ())
                standing[code] = after_case(standing[code], case, readiness, times)
    return tuple(made)


def _best(
    need: Need,
    case: CaseNeeds,
    standing: Mapping[str, Whereabouts],
    later: Collection[str],
    *,
    now: datetime,
    times: StageTimes,
) -> str:
    offers = []
    for code, found in standing.items():
        suits = found.serves == need.key and found.kind != "piece" and code not in later
        if not suits or found.stops or tuple(in_date(found, case.starts_at)):
            continue
        sterile = found.stage is Stage.STERILE
        if sterile or earliest(found, now, times) <= times.deadline(case.starts_at):
            first = found.use_by if sterile and found.use_by is not None else earliest(found, now, times)
            offers.append((not sterile, first, code))
    return min(offers, default=(False, now, ""))[2]
