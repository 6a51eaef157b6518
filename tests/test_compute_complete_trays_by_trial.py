"""`compute complete-trays` against trying every choice of trays, from the outside of its documents.

Nothing of the product is used but the command's own door. A choice is filled by augmenting paths (J. Munkres and
H. W. Kuhn's bipartite case; D. König 1916), one piece at a time, as a person would by hand.
"""

from __future__ import annotations

import random
from collections import Counter
from itertools import combinations
from typing import Any

import pytest

from config.management.commands.compute import answer

TURNS = 12  # documents of a seed


def document(dice: random.Random) -> dict[str, Any]:
    """A tiny unit: up to three templates, six trays, substitutes, spares, needs and weights of every mix."""
    kinds = "ABCDE"
    templates = [dice.choices(kinds, k=dice.randint(1, 4)) for _ in range(dice.randint(1, 3))]
    trays = []
    for _ in range(dice.randint(0, 6)):
        template = dice.randrange(len(templates))
        slots = range(len(templates[template]))
        trays.append({"template": template, "missing": [slot for slot in slots if dice.random() < 0.4]})
    numbers = [str(number) for number in range(len(templates))]
    asked: dict[str, Any] = {
        "templates": templates,
        "trays": trays,
        "accepts": {kind: dice.choices(kinds, k=dice.randint(0, 2)) for kind in kinds if dice.random() < 0.5},
        "spare": {kind: dice.randint(0, 2) for kind in kinds if dice.random() < 0.6},
        "needed": {number: dice.randint(0, 4) for number in numbers if dice.random() < 0.9},
        "weight": {number: dice.choice((0, 0.5, 1, 2, 2.125, 7)) for number in numbers if dice.random() < 0.7},
    }
    for key in ("accepts", "spare", "weight"):
        if not asked[key] and dice.random() < 0.5:
            del asked[key]
    return asked


def best(asked: dict[str, Any]) -> tuple[float, int]:
    """The greatest weight of any choice of trays that can be filled, and the fewest moves that it takes."""
    trays = asked["trays"]
    incomplete = [number for number, tray in enumerate(trays) if tray["missing"]]
    found = [(0.0, 0)]
    for size in range(1, len(incomplete) + 1):
        for chosen in combinations(incomplete, size):
            if wanted(chosen, asked) and fillable(chosen, asked):
                worth = sum(asked.get("weight", {}).get(str(trays[tray]["template"]), 1) for tray in chosen)
                found.append((-worth, sum(len(trays[tray]["missing"]) for tray in chosen)))
    weight, moves = min(found)
    return -weight, moves


def wanted(chosen: tuple[int, ...], asked: dict[str, Any]) -> bool:
    """Whether no template gets more complete trays than are needed, those that are complete already counted."""
    trays = asked["trays"]
    complete = Counter(tray["template"] for tray in trays if not tray["missing"])
    counts = Counter(trays[tray]["template"] for tray in chosen)
    return all(
        count + complete[template] <= asked["needed"].get(str(template), 0) for template, count in counts.items()
    )


def fillable(chosen: tuple[int, ...], asked: dict[str, Any]) -> bool:
    """Whether every empty slot of these trays can have a piece of its own."""
    pieces = [kind for kind, count in asked.get("spare", {}).items() for _ in range(count)]
    for number, tray in enumerate(asked["trays"]):
        if tray["missing"] and number not in chosen:
            listed = asked["templates"][tray["template"]]
            pieces += [kind for slot, kind in enumerate(listed) if slot not in tray["missing"]]
    gaps = []
    for number in chosen:
        tray = asked["trays"][number]
        own = [asked["templates"][tray["template"]][slot] for slot in tray["missing"]]
        gaps += [{kind, *asked.get("accepts", {}).get(kind, ())} for kind in own]
    serves: dict[int, int] = {}

    def place(gap: int, seen: set[int]) -> bool:
        for piece, kind in enumerate(pieces):
            if kind in gaps[gap] and piece not in seen:
                seen.add(piece)
                if piece not in serves or place(serves[piece], seen):
                    serves[piece] = gap
                    return True
        return False

    return all(place(gap, set()) for gap in range(len(gaps)))


@pytest.mark.parametrize("seed", range(25))
def test_nothing_weighs_more_and_nothing_takes_fewer_moves(seed: int) -> None:
    dice = random.Random(seed)
    for _ in range(TURNS):
        asked = document(dice)
        found = answer("complete-trays", asked)
        assert isinstance(found, dict)
        assert (round(found["weight"], 6), found["moves"]) == best(asked), asked
        assert fillable(tuple(found["complete"]), asked)
        assert wanted(tuple(found["complete"]), asked)
        assert found["moves"] == len(found["placements"])
