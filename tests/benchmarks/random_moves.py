"""Random moves on the state tables, watched by nevers that are written out here and not read off the tables.

    python -m tests.benchmarks.random_moves --moves 1000000 --seed 1

Somebody with the rights of a random role tries a random move on a random thing, again and again; the one rule of
every table says whether it may happen. Exits 1 when a never is broken.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from random import Random
from time import perf_counter

from instruments.states import LOAN_MOVES, PIECE_MOVES
from journal.moves import Move, why_not
from journal.roles import RIGHTS, Right, Role
from lists.states import CASE_MOVES
from reprocessing.quality_states import QUALITY_MOVES
from reprocessing.recall_states import RECALL_MOVES
from reprocessing.states import LOAD_MOVES, MACHINE_MOVES
from trays.states import PACK_MOVES

LONGEST = 40
"""A thing with so many tries behind it makes way for a new one: some states have no way out."""

Table = tuple[str, Mapping[str, Move]]
TABLES: dict[str, Table] = {
    "piece": ("returned", PIECE_MOVES),
    "pack": ("assembled", PACK_MOVES),
    "load": ("building", LOAD_MOVES),
    "machine": ("in service", MACHINE_MOVES),
    "recall": ("draft", RECALL_MOVES),
    "non-conformity": ("open", QUALITY_MOVES),
    "loan": ("agreed", LOAN_MOVES),
    "case": ("planned", CASE_MOVES),
}
"""Of each kind of thing the state that it begins in, and its moves."""


@dataclass(slots=True)
class Thing:
    """A thing with its trail: verb, the state it left, the state it came to, the rights of who did it."""

    kind: str
    state: str
    trail: list[tuple[str, str, str, frozenset[Right]]] = field(default_factory=list)
    tries: int = 0

    @property
    def been(self) -> list[str]:
        """The states it came to."""
        return [target for _, _, target, _ in self.trail]


def piece_nevers(thing: Thing) -> list[str]:
    """Nevers 2, 4 and 7, over the whole trail of a piece."""
    verb, origin, target, rights = thing.trail[-1]
    broken = []
    if target in ("inspected", "on tray", "packed"):
        since = thing.been
        soiled = max((place for place, state in enumerate(since) if state in ("returned", "in use")), default=-1)
        verbs = [line[0] for line in thing.trail[soiled + 1 :]]
        if "pass_wash" not in verbs or "inspect" not in verbs[verbs.index("pass_wash") :]:
            broken.append(f"{target} without a passed wash and an inspection since it was soiled, by {verb}")
    if origin in ("quarantined", "in repair", "on loan", "missing") and target not in (
        "returned",
        "withdrawn",
        "missing",
    ):
        broken.append(f"from {origin} past the washer to {target}")
    if origin == "quarantined" and Right.DECIDE not in rights:
        broken.append("out of quarantine without the named decision")
    if target == "in use" and origin != "packed":
        broken.append(f"in use from {origin}")
    return broken


def pack_nevers(thing: Thing) -> list[str]:
    """Nevers 1, 3 and 7, over the whole trail of a pack."""
    verb, origin, target, rights = thing.trail[-1]
    been, verbs, broken = thing.been, [line[0] for line in thing.trail], []
    if target in ("sterile", "issued", "opened"):
        if not {"release", "receive"} & set(verbs):
            broken.append(f"{target} without a release, by {verb}")
        broken += [f"{target} after {bad}" for bad in ("quarantined", "recalled", "expired", "void") if bad in been]
        if been.count("opened") > (target == "opened"):
            broken.append(f"{target} after it was opened")
    if verb == "release" and Right.RELEASE not in rights:
        broken.append("released without the right")
    if origin == "quarantined" and Right.DECIDE not in rights:
        broken.append("out of quarantine without the named decision")
    if target == "issued" and origin != "sterile":
        broken.append(f"issued from {origin}")
    return broken


def load_nevers(thing: Thing) -> list[str]:
    """Never 3 and what a decision on a load binds."""
    _, origin, target, rights = thing.trail[-1]
    broken = []
    if target == "released":
        if thing.been != ["running", "awaiting release", "released"]:
            broken.append(f"released by the way {thing.been}")
        if Right.RELEASE not in rights:
            broken.append("released without the right")
    if origin in ("rejected", "recalled"):
        broken.append(f"let out of {origin}")
    return broken


def closing_nevers(thing: Thing) -> list[str]:
    """A recall or non-conformity is closed only after its closure was proposed, by rights of two kinds."""
    _, origin, target, rights = thing.trail[-1]
    wrong = target == "closed" and (origin != "to be closed" or Right.RELEASE not in rights)
    return [f"closed from {origin}"] if wrong else []


def case_nevers(thing: Thing) -> list[str]:
    """What has ended or was cancelled does not begin."""
    _, origin, target, _ = thing.trail[-1]
    return [f"{target} from {origin}"] if origin in ("ended", "cancelled") else []


NEVERS: dict[str, Callable[[Thing], list[str]]] = {
    "piece": piece_nevers,
    "pack": pack_nevers,
    "load": load_nevers,
    "recall": closing_nevers,
    "non-conformity": closing_nevers,
    "case": case_nevers,
}


def walk(moves: int, seed: int, tables: Mapping[str, Table] = TABLES) -> tuple[Counter[str], set[str]]:
    """Try so many moves.

    Returns:
        How often each was done, and every never that was broken, in words.
    """
    random, done, broken = Random(seed), Counter[str](), set[str]()
    things = {kind: Thing(kind, first) for kind, (first, _) in tables.items()}
    roles = [RIGHTS[role] for role in Role]
    for _ in range(moves):
        kind = random.choice(list(tables))
        thing, (first, table) = things[kind], tables[kind]
        likely = [move for move in table.values() if thing.state in move.origins]
        if likely and random.random() < 0.4:  # what was done least: else few would ever come as far as a case
            move = min(likely, key=lambda move: done[f"{kind}: {move.name}"])
        else:
            move = random.choice(likely if likely and random.random() < 0.7 else list(table.values()))
        holders = [rights for rights in roles if move.right in rights]
        rights, thing.tries = random.choice(holders if random.random() < 0.8 else roles), thing.tries + 1
        if not why_not(move, subject="it", state=thing.state, rights=rights):
            thing.trail.append((move.name, thing.state, str(move.target), rights))
            thing.state = str(move.target)
            done[f"{kind}: {move.name}"] += 1
            if kind in NEVERS:
                broken |= {f"{kind}: {words}" for words in NEVERS[kind](thing)}
            if move.right not in rights:
                broken.add(f"{kind}: {move.name} without its right")
        if thing.tries >= LONGEST or not likely:
            things[kind] = Thing(kind, first)
    return done, broken


def main() -> None:
    """Walk, tell, and exit 1 when a never was broken."""
    parser = argparse.ArgumentParser(description="Random moves on the state tables.")
    parser.add_argument("--moves", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    begun = perf_counter()
    done, broken = walk(asked.moves, asked.seed)
    rarest = min(done.items(), key=lambda pair: pair[1])
    sys.stdout.write(
        f"{asked.moves} tries with seed {asked.seed}, {done.total()} moves done of {len(done)} kinds "
        f"(the rarest, {rarest[0]}, {rarest[1]} times) in {perf_counter() - begun:.0f} s; "
        f"{len(broken)} nevers broken\n"
    )
    sys.stdout.write("".join(f"BROKEN: {words}\n" for words in sorted(broken)))
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()
