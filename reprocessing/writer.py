"""The one writer of the states of loads, machines, recalls and non-conformities.

Locks are taken machine, recall, loads, packs, pieces, in this order; a new recall is a lock of nobody else.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from journal.actions import Act, locked, move, write_line
from journal.findings import Finding, Refused, unknown
from reprocessing.models import (
    Load,
    LoadLine,
    Machine,
    MachineLine,
    Nonconformity,
    NonconformityLine,
    Recall,
    RecallLine,
)
from reprocessing.quality_states import QUALITY_MOVES
from reprocessing.recall_states import RECALL_MOVES
from reprocessing.states import LOAD_MOVES, MACHINE_MOVES


def lock_load(code: str) -> Load:
    """One load, locked: its row stands for everything that is in it.

    Raises:
        Refused: no load has this code.
    """
    return locked(Load.objects.select_related("machine", "programme"), "load", code)


def lock_loads(codes: Iterable[str]) -> list[Load]:
    """Loads of these codes, locked in key order.

    Raises:
        Refused: a code that no load has.
    """
    wanted = set(codes)
    rows = Load.objects.select_for_update(of=("self",)).select_related("machine", "programme")
    found = list(rows.filter(code__in=wanted).order_by("pk"))
    missing = sorted(wanted - {load.code for load in found})
    if missing:
        raise Refused(*(unknown("load", code) for code in missing))
    return found


def lock_recall(code: str) -> Recall:
    """One recall, locked: its row stands for its loads and its work list. Its machine is locked first.

    Raises:
        Refused: no recall has this code.
    """
    machine = Recall.objects.filter(code=code, machine__isnull=False).values_list("machine__code", flat=True).first()
    if machine is not None:
        lock_machine(machine)
    return locked(Recall.objects.all(), "recall", code)


def lock_machine(code: str) -> Machine:
    """One machine, locked: its row stands for its tests and for what it runs.

    Raises:
        Refused: no machine has this code.
    """
    return locked(Machine.objects.all(), "machine", code)


def lock_load_and_machine(code: str) -> tuple[Load, Machine]:
    """A load and its machine, both locked; a load never changes its machine.

    Raises:
        Refused: no load has this code.
    """
    machine_code = Load.objects.filter(code=code).values_list("machine__code", flat=True).first()
    if machine_code is None:
        raise Refused(unknown("load", code))
    machine = lock_machine(machine_code)
    return lock_load(code), machine


def move_load(
    load: Load,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    **fields: Any,
) -> None:
    """Move a locked load along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(load, LOAD_MOVES[name], LoadLine, act, facts=facts, reason=reason, evidence=evidence, **fields)


def move_machine(
    machine: Machine,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    follows: bool = False,
) -> None:
    """Move a locked machine into or out of service.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    row = MACHINE_MOVES[name]
    move(machine, row, MachineLine, act, facts=facts, reason=reason, evidence=evidence, follows=follows)


def line_on_each(
    machines: Iterable[Machine], verb: str, act: Act, *, evidence: dict[str, Any], reason: str = ""
) -> None:
    """A line on the trail of each machine that a row of the unit concerns."""
    for machine in machines:
        write_line(MachineLine, machine, verb, act, reason=reason, evidence=evidence)


def move_recall(
    recall: Recall, name: str, act: Act, *, facts: Iterable[Finding] = (), reason: str = "", **fields: Any
) -> None:
    """Move a locked recall along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(recall, RECALL_MOVES[name], RecallLine, act, facts=facts, reason=reason, **fields)


def lock_nonconformity(code: str) -> Nonconformity:
    """One non-conformity, locked: its row stands for its corrective actions.

    Raises:
        Refused: no non-conformity has this code.
    """
    return locked(Nonconformity.objects.all(), "non-conformity", code)


def move_nonconformity(
    row: Nonconformity, name: str, act: Act, *, facts: Iterable[Finding] = (), reason: str = "", **fields: Any
) -> None:
    """Move a locked non-conformity along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(row, QUALITY_MOVES[name], NonconformityLine, act, facts=facts, reason=reason, **fields)
