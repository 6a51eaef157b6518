"""Questions about the upkeep of machines."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils import timezone

from journal.findings import Finding
from journal.reads import policy
from reprocessing.models import Load, Machine, MachineClosure, MachineLine
from reprocessing.states import LoadKind, LoadState, Result
from reprocessing.upkeep import Closure, EmptyCycle, Proof, not_closed, proof_of


def proof_of_machine(machine: Machine) -> Proof:
    """How far a machine has shown by test cycles that it works, since it last went out of service."""
    out = MachineLine.objects.filter(machine=machine, verb="take_out_of_service").order_by("-id").first()
    loads = Load.objects.filter(machine=machine, started_at__isnull=False).exclude(kind=LoadKind.ROUTINE)
    if out is not None:
        loads = loads.filter(started_at__gte=out.occurred_at)
    cycles = (
        EmptyCycle(
            load.code,
            LoadState(load.state),
            tuple(Result(row.result) for row in load.indicators.all()),
            indicator_needed=not machine.washes,
        )
        for load in loads.order_by("started_at", "pk").prefetch_related("indicators")
    )
    wanted = policy("return_cycles_washer" if machine.washes else "return_cycles_steriliser")
    return proof_of(cycles, wanted=int(wanted))


def against_closed(load: Load, machine: Machine, at: datetime) -> Iterator[Finding]:
    """What the closures of a machine say against the start of a load."""
    rows = MachineClosure.objects.filter(machine=machine).in_force(at)
    closures = [Closure(row.starts_at, row.ends_at, row.reason) for row in rows]
    return not_closed(load.code, machine.name, closures, at=timezone.localtime(at))
