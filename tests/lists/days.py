"""Invented days to plan: documents as the contract has them, by size and seed."""

from __future__ import annotations

import random
from typing import Any

Document = dict[str, Any]

SMALL_DAY: Document = {
    "templates": [
        {"id": 0, "preclean_min": 10, "assemble_min": 15, "programme": "A", "implant": False, "load_units": 1},
        {"id": 3, "preclean_min": 15, "assemble_min": 25, "programme": "B", "implant": True, "load_units": 2},
    ],
    "trays": [
        {"id": 0, "template": 0, "site": 0, "state": "dirty", "free_at_min": 0},
        {"id": 1, "template": 3, "site": 0, "state": "sterile", "free_at_min": 0},
        {"id": 2, "template": 0, "site": 0, "state": "on_loan"},
    ],
    "cases": [
        {"id": 0, "site": 0, "start_min": 445, "duration_min": 60, "weight": 5, "accepts": [0, 3]},
        {"id": 1, "site": 0, "start_min": 480, "duration_min": 90, "weight": 2, "accepts": [3]},
    ],
    "sites": [
        {
            "preclean_benches": 1, "assembly_benches": 1,
            "washer_capacity": 2, "washers_free_at_min": [40],
            "steriliser_capacity": 2, "sterilisers_free_at_min": [30],
        }
    ],
    "washer_min": 75, "programme_min": {"A": 50, "B": 75}, "cooling_min": 30, "implant_hold_min": 180,
    "move_same_site_min": 10, "move_other_site_min": 45, "prepare_min": 15, "return_min": 25, "uses_per_tray": 2,
}  # fmt: skip

STATES = {
    "dirty": 0.45, "in_washer": 0.1, "cleaned": 0.1, "packed": 0.06, "in_steriliser": 0.06, "sterile": 0.17,
    "quarantined": 0.03, "on_loan": 0.03,
}  # fmt: skip
PLANTS = {12: (1, 2, 2, 6, 1, 6), 60: (2, 4, 2, 8, 2, 8)}  # benches, benches, washers of, sterilisers of


def invented_day(cases: int, seed: int, *, sites: int = 1, share: float = 0.7, plant: int | None = None) -> Document:
    """A day of so many cases; `share` trays for each case, so that some must serve twice."""
    chance = random.Random(seed)
    templates = [_template(number, chance) for number in range(max(3, cases // 6))]
    numbers = [template["id"] for template in templates]
    size = plant or min(PLANTS, key=lambda size: abs(size - cases / sites))
    return {
        "templates": templates,
        "trays": [_tray(number, numbers, sites, chance) for number in range(round(cases * share))],
        "cases": [_case(number, numbers, sites, chance) for number in range(cases)],
        "sites": [_site(PLANTS[size], chance) for _ in range(sites)],
        "washer_min": 75, "programme_min": {"A": 50, "B": 75}, "cooling_min": 30, "implant_hold_min": 180,
        "move_same_site_min": 10, "move_other_site_min": 45, "prepare_min": 15, "return_min": 25, "uses_per_tray": 2,
    }  # fmt: skip


def with_calendars(day: Document, seed: int) -> Document:
    """The same day with closed machines and benches that are not always manned."""
    chance = random.Random(seed)
    sites = []
    for site in day["sites"]:
        closed = {
            name: [_closed(chance) for _ in site[free]]
            for name, free in (
                ("washers_closed", "washers_free_at_min"),
                ("sterilisers_closed", "sterilisers_free_at_min"),
            )
        }
        shifts = {
            f"{stage}_shifts": [
                {"start_min": chance.randrange(0, 60), "end_min": chance.randrange(260, 420),
                 "hands": site[f"{stage}_benches"]},
                {"start_min": chance.randrange(300, 500), "end_min": 1200, "hands": 1},
            ] for stage in ("preclean", "assembly")
        }  # fmt: skip
        sites.append({**site, **closed, **shifts})
    return {**day, "sites": sites}


def with_groups(day: Document) -> Document:
    """The same day, the first two cases and the next two standing or falling together; the second weighs nothing."""
    cases = [{**case, "together": place // 2} if place < 4 else case for place, case in enumerate(day["cases"])]
    cases[1] = {**cases[1], "weight": 0}
    return {**day, "cases": cases}


def _closed(chance: random.Random) -> list[Document]:
    starts = sorted(chance.sample(range(0, 700, 20), chance.choice([0, 1, 2])))
    return [{"start_min": start, "end_min": start + chance.choice([30, 60, 120])} for start in starts]


def _template(number: int, chance: random.Random) -> Document:
    return {
        "id": number,
        "preclean_min": chance.choice([8, 10, 12, 15]),
        "assemble_min": chance.choice([10, 15, 20, 25]),
        "programme": chance.choice("AAB"),
        "implant": chance.random() < 0.08,
        "load_units": chance.choice([1, 1, 1, 2]),
    }


def _tray(number: int, templates: list[int], sites: int, chance: random.Random) -> Document:
    state = chance.choices(list(STATES), list(STATES.values()))[0]
    free = {
        "in_washer": chance.randrange(80),
        "in_steriliser": chance.randrange(60),
        "on_loan": chance.randrange(60, 240),
        "quarantined": chance.choice([None, 240]),
    }.get(state, 0)
    template, site = chance.choice(templates), chance.randrange(sites)
    return {"id": number, "template": template, "site": site, "state": state, "free_at_min": free}


def _case(number: int, templates: list[int], sites: int, chance: random.Random) -> Document:
    return {
        "id": number,
        "site": chance.randrange(sites),
        "start_min": chance.randrange(420, 961, 15),
        "duration_min": chance.randrange(30, 121, 15),
        "weight": chance.choice([1, 1, 2, 2, 3, 5]),
        "accepts": chance.sample(templates, chance.choice([1, 1, 2])),
    }


def _site(plant: tuple[int, ...], chance: random.Random) -> Document:
    preclean, assembly, washers, wash, sterilisers, steam = plant
    return {
        "preclean_benches": preclean,
        "assembly_benches": assembly,
        "washer_capacity": wash,
        "washers_free_at_min": [chance.randrange(60) for _ in range(washers)],
        "steriliser_capacity": steam,
        "sterilisers_free_at_min": [chance.randrange(60) for _ in range(sterilisers)],
    }
