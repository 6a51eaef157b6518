"""What a recall and a look-back must answer, found by going over every row of a history; and a comparison with both.

    nice python -m tests.benchmarks.recall_by_trial --packs 200000 --seed 1 --questions 8 --share 0.02

Draws a history, writes it into an empty database (that of DATABASE_URL, else SQLite), asks the product, and compares.
Exits 1 when an answer differs. docs/algorithms/recall.md records what it took.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from random import Random
from time import perf_counter
from typing import TYPE_CHECKING

from tests.benchmarks.database import empty_database

if TYPE_CHECKING:
    from tests.benchmarks.long_history import History

PIECE, PACK, LOAD, CASE = "piece", "pack", "load", "case"
Thing = tuple[str, int]
Rows = list[tuple[Thing, Thing, int]]


# Which loads a machine's indicators call back


def signs_of(past: History, machine: int) -> list[tuple[int, str, bool]]:
    """The loads of a machine in the order of their start, with their sign and whether they hold an implant."""
    implants = {load for pack, load in past.sterilised if past.packs[pack - 1].implant}
    mine = sorted((row.started, key) for key, row in enumerate(past.loads, start=1) if row.machine == machine)
    return [(key, _sign(past.loads[key - 1].biology), key in implants) for _, key in mine]


def _sign(biology: Sequence[str]) -> str:
    return "+" if "failed" in biology else "-" if biology else "."


def called(cycles: Sequence[tuple[int, str, bool]], *, every_positive: bool) -> list[int]:
    """Loads called back: from each load a look either way, as far as the next negative indicator.

    Every positive: a positive is in sight. On repeat: a positive in sight is one of two among four that were read one
    after the other; or one is in sight and the load holds an implant.
    """
    read = [place for place, (_, sign, _) in enumerate(cycles) if sign != "."]
    twice = {
        place
        for turn, place in enumerate(read)
        if any(cycles[other][1] == "+" for other in read[max(0, turn - 3) : turn + 4] if other != place)
    }
    found = []
    for place, (load, sign, implant) in enumerate(cycles):
        seen = [] if sign == "-" else list(_in_sight(cycles, place))
        if seen and (every_positive or implant or any(other in twice for other in seen)):
            found.append(load)
    return found


def _in_sight(cycles: Sequence[tuple[int, str, bool]], place: int) -> Iterator[int]:
    for step in (-1, 1):
        here = place if step == 1 else place - 1
        while 0 <= here < len(cycles) and cycles[here][1] != "-":
            if cycles[here][1] == "+":
                yield here
            here += step


def since_settled(cycles: Sequence[tuple[int, str, bool]]) -> int:
    """The place after which nothing is settled yet: the last third negative in a row before the last positive."""
    signs = [sign for _, sign, _ in cycles]
    if "+" not in signs:
        return len(cycles)
    last = len(signs) - 1 - signs[::-1].index("+")
    ends = [place for place in range(last) if signs[place] == "-" and _three(signs[: place + 1])]
    return ends[-1] if ends else -1


def _three(signs: Sequence[str]) -> bool:
    return "".join(signs).replace(".", "").endswith("---")


# What a load answers for


def members(past: History) -> tuple[dict[int, set[int]], dict[int, set[int]]]:
    """By load the packs that it answers for, and the pieces at the bench: over every row."""
    packs, pieces = defaultdict[int, set[int]](set), defaultdict[int, set[int]](set)
    for pack, load in past.sterilised:
        packs[load].add(pack)
    passed = defaultdict[int, list[tuple[int, int]]](list)
    for piece, load in past.washed:
        if past.loads[load - 1].state != "rejected":
            passed[piece].append((past.loads[load - 1].ended, load))
    for key, row in enumerate(past.packs, start=1):
        for piece in row.pieces:
            before = [wash for wash in passed[piece] if wash[0] <= row.assembled]
            if before:
                packs[max(before)[1]].add(key)
    for piece in past.bench:
        if passed[piece]:
            pieces[max(passed[piece])[1]].add(piece)
    return packs, pieces


# Where a thing came from and where it went


def contacts(past: History) -> Rows:
    """Every contact: what was inside, what was around it, when."""
    rows: Rows = [
        ((PIECE, piece), (PACK, key), row.assembled)
        for key, row in enumerate(past.packs, start=1)
        for piece in row.pieces
    ]
    rows += [((PIECE, piece), (LOAD, load), past.loads[load - 1].started) for piece, load in past.washed]
    rows += [((PACK, pack), (LOAD, load), past.loads[load - 1].started) for pack, load in past.sterilised]
    rows += [((PACK, pack), (CASE, case), minute) for pack, case, minute in past.issued]
    return rows


def reached(rows: Rows, start: Thing, *, forward: bool, turns: int) -> dict[Thing, int]:
    """Over all rows until nothing changes: each thing with the fewest further cases on the way to it.

    `turns` is how many are allowed; times are turned round to go back.
    """
    sign = 1 if forward else -1
    best: dict[tuple[Thing, int], float] = {(start, 0): float("-inf")}
    in_order = sorted(rows, key=lambda row: sign * row[2])
    changed = True
    while changed:
        changed = False
        for inner, outer, minute in in_order:
            met = sign * minute
            for turn in range(turns + 1):
                for thing, onward, moment in _steps(best, inner, outer, met, turn, start, forward=forward):
                    if onward <= turns and moment < best.get((thing, onward), float("inf")):
                        best[thing, onward] = moment
                        changed = True
    fewest: dict[Thing, int] = {}
    for thing, turn in best:
        fewest[thing] = min(turn, fewest.get(thing, turn))
    return fewest


def _steps(
    best: Mapping[tuple[Thing, int], float],
    inner: Thing,
    outer: Thing,
    met: int,
    turn: int,
    start: Thing,
    *,
    forward: bool,
) -> Iterator[tuple[Thing, int, float]]:
    inside, around = best.get((inner, turn)), best.get((outer, turn))
    if inside is not None and inside <= met:
        yield outer, turn, inside if outer[0] == PACK and not forward else met
    if around is not None and (outer[0] != LOAD or outer == start):
        yield inner, turn + (outer[0] == CASE and outer != start), max(around, met)


# The product beside it


def main() -> None:
    """Draw, store, compare, tell, and exit 1 when an answer differs."""
    parser = argparse.ArgumentParser(description="Compare recall and look-back with a walk over every row.")
    parser.add_argument("--packs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--questions", type=int, default=12, help="of look-back and look-forward")
    parser.add_argument("--share", type=float, default=1.0, help="of the history that a question begins in")
    asked = parser.parse_args()
    with empty_database():
        from tests.benchmarks.recall_compared import Compared  # noqa: PLC0415 - knows models

        begun = perf_counter()
        compared = Compared(asked.seed, asked.packs)
        compared.tell(f"{compared.size} drawn and stored in {perf_counter() - begun:.0f} s")
        compared.recalls()
        compared.members()
        compared.traces(Random(asked.seed), asked.questions, asked.share)
        sys.exit(1 if compared.wrong else 0)


if __name__ == "__main__":
    main()
