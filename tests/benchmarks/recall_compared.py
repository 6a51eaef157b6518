"""Recall and look-back as the product answers, beside the walk over every row, with what either took."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from random import Random
from time import process_time
from typing import Any

from django.db import connection

from lists.lineage import Node, Sort
from lists.reads.tracing import trace
from reprocessing.models import Load, Machine
from reprocessing.reads.recalls import cycles_of, members_of, policy_of, scope_by_indicators
from reprocessing.recall import Scope, scope_of
from tests.benchmarks import long_history, recall_by_trial
from tests.benchmarks.long_history import KINDS, LOW, STEAM
from tests.reprocessing.makers import policy
from trays.models import Pack

LOADS_ASKED = 500
_OF_A_LOAD = (
    "SELECT c.{0}_id, c.load_id, l.started_at FROM reprocessing_load{0} c JOIN reprocessing_load l ON l.id = c.load_id"
)
SQL_PASS = (
    "SELECT c.piece_id, c.pack_id, p.assembled_at FROM trays_content c JOIN trays_pack p ON p.id = c.pack_id",
    _OF_A_LOAD.format("piece"),
    _OF_A_LOAD.format("pack"),
    "SELECT pack_id, case_id, issued_at FROM lists_issue",
)
"""Every contact by plain SQL, fetched."""


def timed(call: Callable[..., Any], *given: Any, **named: Any) -> tuple[Any, float]:
    """What a call returns, and how long this process worked on it [s]; a server's own work is not in it."""
    begun = process_time()
    return call(*given, **named), process_time() - begun


def plain_pass() -> int:
    """Every contact row by plain SQL, and how many they are."""
    rows = 0
    with connection.cursor() as cursor:
        for sql in SQL_PASS:
            cursor.execute(sql)
            rows += len(cursor.fetchall())
    return rows


class Compared:
    """A history in an empty database, and the answers that differ."""

    def __init__(self, seed: int, packs: int) -> None:
        self.past = long_history.drawn(seed, packs)
        long_history.stored(self.past)
        self.rows = recall_by_trial.contacts(self.past)
        self.wrong: list[str] = []
        self.asked = 0

    @property
    def size(self) -> str:
        """How much there is, in words."""
        past = self.past
        return f"{len(past.packs)} packs, {len(past.loads)} loads, {past.cases} cases, {len(self.rows)} contacts"

    def tell(self, line: str) -> None:
        """One line of the report."""
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()

    def same(self, what: str, said: object, wanted: object) -> None:
        """Note an answer that differs."""
        self.asked += 1
        if said != wanted:
            self.wrong.append(what)
            self.tell(f"DIFFERS: {what}")

    def recalls(self) -> None:
        """Every steriliser by both policies: all that was ever called back, and what is not settled yet."""
        for every_positive in (True, False):
            policy("recall_every_positive", every_positive)
            ours = theirs = 0.0
            loads = 0
            for key in (*STEAM, *LOW):
                machine = Machine.objects.get(pk=key)
                strict = every_positive or key in LOW
                cycles = recall_by_trial.signs_of(self.past, key)
                wanted, took = timed(self._called, cycles, strict)
                theirs += took
                every, took = timed(_ever_called, machine)
                ours += took
                open_still = scope_by_indicators(machine)
                name = f"{KINDS[key]} {key}, every positive: {every_positive}"
                self.same(name, [row.load for row in every.called], wanted[0])
                self.same(f"{name}, not settled", [row.load for row in open_still.called], wanted[1])
                loads += len(wanted[0])
            words = "every positive" if every_positive else "on repeat"
            self.tell(f"recall, {words}: {loads} loads called back, {ours:.2f} s; over every row {theirs:.2f} s")

    def _called(self, cycles: Sequence[tuple[int, str, bool]], strict: bool) -> tuple[list[str], list[str]]:
        after = recall_by_trial.since_settled(cycles)
        found = recall_by_trial.called(cycles, every_positive=strict)
        place = {load: number for number, (load, _, _) in enumerate(cycles)}
        return [f"L{load}" for load in found], [f"L{load}" for load in found if place[load] > after]

    def members(self) -> None:
        """What loads, drawn at random, answer for."""
        (packs, pieces), theirs = timed(recall_by_trial.members, self.past)
        chosen = sorted(Random(1).sample(range(1, len(self.past.loads) + 1), min(LOADS_ASKED, len(self.past.loads))))
        loads = list(Load.objects.filter(pk__in=chosen).select_related("machine"))
        said, ours = timed(members_of, loads)
        for load in chosen:
            self.same(f"packs of load {load}", said[load].packs, packs.get(load, set()))
            self.same(f"pieces of load {load}", said[load].pieces, pieces.get(load, set()))
        last = len(self.past.loads)
        self.same("the load table", Load.objects.count(), last)
        self.same("the pack table", Pack.objects.count(), len(self.past.packs))
        self.tell(f"members of {len(chosen)} loads: {ours:.2f} s; of all loads, over every row, {theirs:.2f} s")

    def traces(self, random: Random, questions: int, share: float) -> None:
        """From things drawn at random, either way, through none, one or two further cases.

        Packs, loads and cases are drawn from the last share of the history going forward, from the first going back.
        """
        count, plain = timed(plain_pass)
        self.same("contacts by plain SQL", count, len(self.rows))
        self.tell(f"one pass over all contacts by plain SQL: {plain:.2f} s")
        many = {
            "piece": self.past.pieces, "pack": len(self.past.packs), "load": len(self.past.loads),
            "case": self.past.cases,
        }  # fmt: skip
        for number in range(questions):
            sort, forward, turns = list(many)[number % 4], number // 4 % 2 == 0, number // 8 % 3
            first = 1 + random.randrange(max(1, int(many[sort] * share)))
            start = (sort, many[sort] + 1 - first if forward else first)
            node = Node(Sort(sort), start[1])
            said, ours = timed(_told, node, forward, turns)
            wanted, theirs = timed(recall_by_trial.reached, self.rows, start, forward=forward, turns=turns)
            way = "forward" if forward else "back"
            name = f"{way} from {sort} {start[1]}, {turns} further cases"
            self.same(name, said, {(one, key): turn for (one, key), turn in wanted.items()})
            self.tell(
                f"{name}: {len(wanted)} things, {ours:.2f} s, {ours / plain:.2f} SQL passes, "
                f"{ours / theirs:.3f} of the walk over every row"
            )


def _ever_called(machine: Machine) -> Scope:
    return scope_of(cycles_of(machine), policy_of(machine))


def _told(node: Node, forward: bool, turns: int) -> dict[tuple[str, int], int]:
    letters = {"I": "piece", "K": "pack", "L": "load"}
    found = {}
    for row in trace([node], forward=forward, turns=turns).rows:
        key = int(row.code, 36) if row.sort is Sort.CASE else int(row.code[1:])
        sort = "case" if row.sort is Sort.CASE else letters[row.code[0]]
        found[sort, key] = row.turn
    return found
