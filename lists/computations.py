"""What `manage.py compute` offers of lists: the plan of a day."""

from __future__ import annotations

from typing import Any

from lists.planning import plan
from lists.scenario_documents import read_scenario, written_plan


def compute_plan(document: object) -> dict[str, Any]:
    """Which tray serves which case, and when each is where.

    Raises:
        ValueError: the document cannot be read.
    """
    return written_plan(plan(read_scenario(document)))


COMPUTATIONS = {"plan": compute_plan}
