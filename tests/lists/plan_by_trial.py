"""The best plan of a tiny day by trying everything, on the documents alone; nothing of the planning is used.

One site with one bench and one machine for each stage. All choices of trays; for each, stage by stage, all orders
and all loads, of which only those are kept that are not later for every tray than another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations, permutations, product
from typing import Any

from tests.lists.plan_checker import FULL, LEFT, after_closing

Document = dict[str, Any]
Minutes = tuple[int, ...]


def best(day: Document) -> tuple[int, int, int]:
    """Weight on time, least slack (each up to 120), moves below zero: the greatest in this order."""
    trays, cases = day["trays"], day["cases"]
    found = (0, 120, 0)
    options = [[None, *(tray for tray in trays if tray["template"] in case["accepts"])] for case in cases]
    for choice in product(*options):
        on_time = [(case, tray) for case, tray in zip(cases, choice, strict=True) if tray is not None]
        groups = {case.get("together") for case, _ in on_time} - {None}
        if any(tray is None and case.get("together") in groups for case, tray in zip(cases, choice, strict=True)):
            continue
        weight = sum(case["weight"] for case, _ in on_time)
        if weight < found[0] or not on_time:
            continue
        moves = sum(tray["template"] != case["accepts"][0] for case, tray in on_time)
        slack = _slack(day, on_time)
        if slack is not None:
            found = max(found, (weight, slack, -moves))
    return found


def _slack(day: Document, on_time: Sequence[tuple[Document, Document]]) -> int | None:
    """The greatest least slack of a choice; None when some deadline cannot be kept."""
    jobs = _jobs(day, on_time)
    if jobs is None:
        return None
    deadlines = [case["start_min"] - day["prepare_min"] - day["move_same_site_min"] for case, _ in on_time]
    vectors = {tuple(release for release, _, _, _ in jobs)}
    for stage in FULL:
        vectors = _pareto({after for before in vectors for after in _through(day, stage, jobs, before)})
    waits = [wait for _, _, wait, _ in jobs]
    slacks = [
        min(deadline - minute - wait for deadline, minute, wait in zip(deadlines, vector, waits, strict=True))
        for vector in vectors
    ]
    return None if max(slacks) < 0 else min(120, max(slacks))


def _jobs(day: Document, on_time: Sequence[tuple[Document, Document]]) -> list[Any] | None:
    """Of each case on time: release, stages, wait to the shelf, template."""
    templates = {template["id"]: template for template in day["templates"]}
    jobs = []
    for case, tray in on_time:
        template = templates[tray["template"]]
        hold = max(day["cooling_min"], day["implant_hold_min"]) if template["implant"] else day["cooling_min"]
        earlier = [
            one
            for one, other in on_time
            if other is tray and (one["start_min"], one["id"]) < (case["start_min"], case["id"])
        ]
        if len(earlier) >= day["uses_per_tray"]:
            return None
        if earlier:
            release = max(one["start_min"] + one["duration_min"] + day["return_min"] for one in earlier)
            jobs.append((release, FULL, hold, template))
        elif tray["state"] in {"quarantined", "on_loan"} and tray.get("free_at_min") is None:
            return None
        else:
            wait = 0 if tray["state"] in {"sterile", "quarantined"} else hold
            jobs.append((tray.get("free_at_min") or 0, LEFT[tray["state"]], wait, template))
    return jobs


def _through(day: Document, stage: str, jobs: Sequence[Any], arrivals: Minutes) -> Iterator[Minutes]:
    """When all are through a stage, for every order and all loads."""
    here = tuple(number for number, job in enumerate(jobs) if stage in job[1])
    site = day["sites"][0]
    if stage in {"preclean", "assembly"}:
        orders: Any = (tuple((one,) for one in order) for order in permutations(here))
        free_from = 0
    else:
        orders = _loads(here, site[f"{stage}_capacity"])
        free_from = site["washers_free_at_min" if stage == "washer" else "sterilisers_free_at_min"][0]
    closed = _closed(site, stage)
    for order in orders:
        minutes, free = list(arrivals), free_from
        if all(_fits(site, stage, [jobs[one][3] for one in load]) for load in order):
            for load in order:
                length = _length(day, stage, jobs[load[0]][3])
                free = after_closing(closed, max(free, *(minutes[one] for one in load)), length) + length
                for one in load:
                    minutes[one] = free
            yield tuple(minutes)


def _closed(site: Document, stage: str) -> list[Document]:
    """When the one machine is closed, or nobody is at the one bench."""
    if stage in {"preclean", "assembly"}:
        shifts = site.get(f"{stage}_shifts")
        if shifts is None:
            return []
        manned = {minute for shift in shifts for minute in range(shift["start_min"], shift["end_min"])}
        return [{"start_min": one, "end_min": one + 1} for one in range(2000) if one not in manned]
    closed: list[Document] = (site.get(f"{stage}s_closed") or [[]])[0]
    return closed


def _fits(site: Document, stage: str, kinds: Sequence[Document]) -> bool:
    if stage in {"preclean", "assembly"}:
        return True
    units = sum(kind["load_units"] for kind in kinds) <= site[f"{stage}_capacity"]
    return units and (stage == "washer" or len({kind["programme"] for kind in kinds}) == 1)


def _length(day: Document, stage: str, kind: Document) -> int:
    if stage == "washer":
        return int(day["washer_min"])
    names = {"preclean": "preclean_min", "assembly": "assemble_min"}
    return int(kind[names[stage]] if stage in names else day["programme_min"][kind["programme"]])


@cache
def _loads(numbers: tuple[int, ...], most: int) -> tuple[tuple[tuple[int, ...], ...], ...]:
    """All ways to part them into loads of at most so many, in every order."""
    if not numbers:
        return ((),)
    return tuple(
        (first, *rest)
        for size in range(1, min(most, len(numbers)) + 1)
        for first in combinations(numbers, size)
        for rest in _loads(tuple(one for one in numbers if one not in first), most)
    )


def _pareto(vectors: set[Minutes]) -> set[Minutes]:
    kept: set[Minutes] = set()
    for vector in sorted(vectors, key=sum):
        if not any(all(one <= other for one, other in zip(best, vector, strict=True)) for best in kept):
            kept.add(vector)
    return kept
