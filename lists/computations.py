"""What `manage.py compute` offers of lists: the plan of a day, and how sure each of its cases is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from typing import Any

from journal.documents import Reader, number, one_of, read, record, whole
from lists.chances.forecast import DAYS, MOST_DAYS, SEED, chances
from lists.chances.noise import MOST_REPEATS, USUAL, Exponential, LoadPolicy, LogNormal, Noise, Spread, Triangular
from lists.plans.documents import read_plan, read_scenario, written_plan
from lists.plans.planning import plan

FAMILIES: Mapping[str, type[Spread]] = {
    "triangular": Triangular,
    "lognormal": LogNormal,
    "exponential": Exponential,
}


def compute_plan(document: object, progress: Callable[[dict[str, Any]], object] = lambda _: None) -> dict[str, Any]:
    """Which tray serves which case, and when each is where; `progress` is told the measure sought and what is known.

    Raises:
        ValueError: the document cannot be read.
    """
    return written_plan(
        plan(
            read_scenario(document),
            progress=lambda now: progress({"phase": str(now.phase), "weight": now.weight, "bound": now.bound}),
        )
    )


def compute_chance(document: object) -> dict[str, Any]:
    """The chance of each case of a plan, and when its tray is ready on half and on nine tenths of the days.

    Without `noise` the usual noise is taken; noise that is not named is none.

    Raises:
        ValueError: the document cannot be read, or the plan cannot be followed on that day.
    """
    values = read(document, REQUIRED, OPTIONAL)
    found = chances(
        values["scenario"],
        values["plan"],
        values.get("noise", USUAL),
        days=values.get("days", DAYS),
        seed=values.get("seed", SEED),
    )
    return {"cases": [asdict(entry) for entry in found]}


def _noise(value: object, name: str) -> Noise:
    return Noise(**record({}, NOISE)(value, name))


def _spread(value: object, name: str) -> Spread:
    """A family with its own figures, and no others."""
    figures = {family: {field.name: number(low=0) for field in fields(kind)} for family, kind in FAMILIES.items()}
    family = value.get("family") if isinstance(value, dict) else None
    if not isinstance(family, str) or family not in FAMILIES:  # which figures it needs is not known
        every: dict[str, Reader] = {key: reader for table in figures.values() for key, reader in table.items()}
        record({"family": one_of(FAMILIES)}, every)(value, name)
        raise AssertionError
    read_as = record({"family": one_of(FAMILIES), **figures[family]})(value, name)
    return FAMILIES[family](**{key: figure for key, figure in read_as.items() if key != "family"})


def _policy(value: object, name: str) -> LoadPolicy:
    return LoadPolicy(one_of(LoadPolicy)(value, name))


REQUIRED: dict[str, Reader] = {"scenario": read_scenario, "plan": read_plan}
NOISE: dict[str, Reader] = {
    "preclean": _spread,
    "assembly": _spread,
    "pickup_min": _spread,
    "overrun": _spread,
    "wash_repeat": number(low=0, high=MOST_REPEATS),
    "steriliser_repeat": number(low=0, high=MOST_REPEATS),
    "policy": _policy,
    "cutoff_min": number(low=0),
}
OPTIONAL: dict[str, Reader] = {"noise": _noise, "days": whole(MOST_DAYS, least=1), "seed": whole(2**53)}

COMPUTATIONS = {"plan": compute_plan, "chance": compute_chance}
