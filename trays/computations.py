"""What `manage.py compute` offers of trays: which of them to complete, and with what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from journal.documents import listed, mapped, number, quoted, read, record, whole
from trays.completion import (
    FINEST_WEIGHT,
    GREATEST_WEIGHT,
    Completion,
    CountedTray,
    Demand,
    Gap,
    Placement,
    complete_trays,
)

MOST = 1_000_000  # pieces or trays in one count
LONGEST_S = 20.0  # for weight, for moves, for the rest: many times what a large unit takes, a minute in all

Kind = int | str  # a type as the document writes it: a whole number or a text


def compute_complete_trays(document: object) -> dict[str, Any]:
    """The trays to complete, and every piece to move.

    A type is accepted in its own place, whether `accepts` says so or not; a template that `weight` does not
    name weighs 1. Where time did not suffice for the proof, the answer has one key more, `"proven": false`.

    Raises:
        ValueError: the document cannot be read.
    """
    values = {"accepts": {}, "spare": {}, "weight": {}, **read(document, REQUIRED, OPTIONAL)}
    _check_references(values)
    written = _written(values)
    found = complete_trays(_trays(values), values["spare"], _demands(values), longest_s=LONGEST_S)
    return _answer(found, written)


def _trays(values: dict[str, Any]) -> list[CountedTray]:
    templates = values["templates"]
    accepts = {str(kind): tuple(map(str, (kind, *others))) for kind, others in values["accepts"].items()}
    trays = []
    for tray in values["trays"]:
        kinds = list(map(str, templates[tray["template"]]))
        missing = set(tray["missing"])
        gaps = tuple(Gap(slot, accepts.get(kinds[slot], (kinds[slot],))) for slot in sorted(missing))
        gives = Counter(kind for slot, kind in enumerate(kinds) if slot not in missing)
        trays.append(CountedTray(str(tray["template"]), gaps, gives))
    return trays


def _demands(values: dict[str, Any]) -> dict[str, Demand]:
    return {
        template: Demand(needed, values["weight"].get(template, 1.0)) for template, needed in values["needed"].items()
    }


def _answer(found: Completion, written: Mapping[str, Kind]) -> dict[str, Any]:
    answer = {
        "weight": found.weight,
        "moves": found.moves,
        "complete": list(found.complete),
        "placements": [_move(placement, written) for placement in found.placements],
    }
    return answer if found.proven else {**answer, "proven": False}


def _move(placement: Placement, written: Mapping[str, Kind]) -> dict[str, Any]:
    return {
        "tray": placement.tray,
        "slot": placement.slot,
        "type": written[placement.part],
        "from": "spare" if placement.donor is None else placement.donor,
    }


def _written(values: dict[str, Any]) -> dict[str, Kind]:
    """Each type as the document's lists write it; as a key it is a text in any case."""
    written: dict[str, Kind] = {}
    for kinds in (*values["templates"], *values["accepts"].values()):
        for kind in kinds:
            if written.setdefault(str(kind), kind) != kind:
                raise ValueError(
                    f"Cannot read the document: it has the type {kind} as number and as text, must have one."
                )
    return written


def _check_references(values: dict[str, Any]) -> None:
    """Templates that are named exist, and so do the slots, each named once."""
    templates = values["templates"]
    for position, tray in enumerate(values["trays"]):
        name = f"trays[{position}]"
        template, missing = tray["template"], tray["missing"]
        if template >= len(templates):
            raise _unknown(f"{name}.template", template, "templates", len(templates))
        for index, slot in enumerate(missing):
            if slot >= len(templates[template]):
                kept = f"slots of template {template}"
                raise _unknown(f"{name}.missing[{index}]", slot, kept, len(templates[template]))
        if len(set(missing)) < len(missing):
            twice = next(slot for slot in missing if missing.count(slot) > 1)
            raise ValueError(f"Cannot read {name}.missing: it has slot {twice} twice, must have it once.")
    positions = [str(position) for position in range(len(templates))]
    for key in ("needed", "weight"):
        for template in values[key]:
            if template not in positions:
                raise _unknown(key, template, "templates", len(templates))


def _unknown(name: str, value: object, kept: str, count: int) -> ValueError:
    expected = f"must name one of the {count} {kept}, counted from 0"
    return ValueError(f"Cannot read {name}: it has {quoted(value)}, {expected}.")


def _kind(value: object, name: str) -> Kind:
    if isinstance(value, bool) or not isinstance(value, int | str) or value == "":
        raise ValueError(f"Cannot read {name}: it is {quoted(value)}, must be a text or a whole number.")
    return value


def _weight(value: object, name: str) -> float:
    weight: float = number(low=0, high=GREATEST_WEIGHT)(value, name)
    if round(weight, FINEST_WEIGHT) != weight:
        raise ValueError(f"Cannot read {name}: it is {quoted(value)}, must have {FINEST_WEIGHT} decimals at most.")
    return weight


COUNT = whole(MOST)
REQUIRED = {
    "templates": listed(listed(_kind)),
    "trays": listed(record({"template": COUNT, "missing": listed(COUNT)})),
    "needed": mapped(COUNT),
}
OPTIONAL = {"accepts": mapped(listed(_kind)), "spare": mapped(COUNT), "weight": mapped(_weight)}

COMPUTATIONS = {"complete-trays": compute_complete_trays}
