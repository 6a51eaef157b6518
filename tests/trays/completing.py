"""Trays to complete: a unit of any size, a checker that knows only the rules, and the best by trying everything."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, combinations
from typing import NamedTuple

import numpy as np
from scipy.optimize import linear_sum_assignment

from trays.completion import Completion, CountedTray, Demand, Gap

UNFIT = 10**6
FROM_TRAY = 100  # outweighs the substitutes of any tiny case


class Question(NamedTuple):
    """What complete_trays is asked."""

    trays: Sequence[CountedTray]
    spare: Mapping[str, int]
    demands: Mapping[str, Demand]


def unit(
    seed: int, *, trays: int, slots: int, parts: int, templates: int, missing: float, shelf: float, wanted: float
) -> Question:
    """An invented unit: a share of slots is empty, a share of that lies on the shelf, a share of trays is wanted."""
    dice = random.Random(seed)
    names = [f"part {number}" for number in range(parts)]
    accepts = {name: (name, *dice.choices(names, k=dice.choice((0, 0, 1, 2)))) for name in names}
    lists = [dice.choices(names, k=slots) for _ in range(templates)]
    counted = []
    for _ in range(trays):
        template = dice.randrange(templates)
        empty = {slot for slot in range(slots) if dice.random() < missing}
        gaps = tuple(Gap(slot, accepts[lists[template][slot]]) for slot in sorted(empty))
        gives = Counter(part for slot, part in enumerate(lists[template]) if slot not in empty)
        counted.append(CountedTray(str(template), gaps, gives))
    spare = Counter(dice.choices(names, k=round(shelf * sum(len(tray.gaps) for tray in counted))))
    of_template = Counter(tray.template for tray in counted)
    demands = {name: Demand(round(wanted * count), dice.randint(1, 5)) for name, count in of_template.items()}
    return Question(counted, spare, demands)


def check(question: Question, found: Completion) -> None:
    """Whether the answer can be carried out and says what it does, by the rules alone."""
    trays, spare, demands = question
    assert list(found.complete) == sorted(set(found.complete))
    assert all(trays[position].gaps for position in found.complete)
    ready = Counter(tray.template for tray in trays if not tray.gaps)
    for template, count in Counter(trays[position].template for position in found.complete).items():
        assert count + ready[template] <= demands[template].needed
    empty = {(position, gap.slot): gap for position in found.complete for gap in trays[position].gaps}
    assert [(move.tray, move.slot) for move in found.placements] == sorted(empty)
    assert all(move.part in empty[move.tray, move.slot].accepts for move in found.placements)
    for (donor, part), count in Counter((move.donor, move.part) for move in found.placements).items():
        if donor is None:
            assert count <= spare[part]
        else:
            assert trays[donor].gaps
            assert donor not in found.complete
            assert count <= trays[donor].gives[part]
    assert found.moves == len(empty)
    assert abs(found.weight - sum(demands[trays[position].template].weight for position in found.complete)) < 1e-9


def measures(question: Question, found: Completion) -> tuple[float, int, int, int]:
    """Weight lost, moves, pieces from trays, substitutes: the less the better, in this order."""
    own = {(position, gap.slot): gap.accepts[:1] for position, tray in enumerate(question.trays) for gap in tray.gaps}
    from_trays = sum(move.donor is not None for move in found.placements)
    substitutes = sum((move.part,) != own[move.tray, move.slot] for move in found.placements)
    return -round(found.weight, 6), found.moves, from_trays, substitutes


def best(question: Question) -> tuple[float, int, int, int]:
    """The same of the best answer: every choice of trays, each filled by scipy's linear_sum_assignment."""
    trays, _, demands = question
    incomplete = [position for position, tray in enumerate(trays) if tray.gaps]
    choices = chain.from_iterable(combinations(incomplete, size) for size in range(len(incomplete) + 1))
    return min(
        found for choice in choices if _is_wanted(choice, trays, demands) for found in _filled(choice, question)
    )


def _is_wanted(choice: Sequence[int], trays: Sequence[CountedTray], demands: Mapping[str, Demand]) -> bool:
    ready = Counter(tray.template for tray in trays if not tray.gaps)
    counts = Counter(trays[position].template for position in choice)
    return all(name in demands and count + ready[name] <= demands[name].needed for name, count in counts.items())


def _filled(choice: Sequence[int], question: Question) -> Iterator[tuple[float, int, int, int]]:
    trays, spare, demands = question
    gaps = [gap for position in choice for gap in trays[position].gaps]
    shelf = [(part, 0) for part, count in spare.items() for _ in range(count)]
    donors = [tray for position, tray in enumerate(trays) if tray.gaps and position not in choice]
    pieces = shelf + [(part, FROM_TRAY) for tray in donors for part, count in tray.gives.items() for _ in range(count)]
    costs = np.full((len(gaps), max(len(pieces), len(gaps))), UNFIT)
    for row, gap in enumerate(gaps):
        for column, (part, price) in enumerate(pieces):
            if part in gap.accepts:
                costs[row, column] = price + (part != gap.accepts[0])
    total = int(costs[linear_sum_assignment(costs)].sum())
    if total < UNFIT:
        weight = sum(demands[trays[position].template].weight for position in choice)
        yield -round(weight, 6), len(gaps), *divmod(total, FROM_TRAY)
