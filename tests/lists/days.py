"""Invented days to plan: documents as the contract has them, by size and seed."""

from __future__ import annotations

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
