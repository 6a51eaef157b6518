"""The closures of a machine: planned, and lifted when it is open again before their end."""

from __future__ import annotations

from datetime import datetime

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Refused, stop
from reprocessing.models import MachineClosure, MachineLine
from reprocessing.states import MACHINE_STEPS
from reprocessing.upkeep import closure_in_time
from reprocessing.writer import lock_machine


@action
def plan_closure(machine: str, starts_at: datetime, ends_at: datetime, *, reason: str, act: Act) -> Done:
    """Close a machine for a time: maintenance, or hours in which nobody runs it. No routine load starts then."""
    row = lock_machine(machine)
    step = MACHINE_STEPS["plan_closure"]
    need(step.right, step.says, row.name, act)
    reason = reason_given(reason, step.says, row.name)
    if facts := tuple(closure_in_time(row.name, starts_at, ends_at, now=act.at)):
        raise Refused(*facts)
    closure = MachineClosure.objects.create(
        machine=row, starts_at=starts_at, ends_at=ends_at, reason=reason, planned_at=act.at, planned_by=act.by
    )
    evidence = {"closure": closure.pk, "starts_at": starts_at.isoformat(), "ends_at": ends_at.isoformat()}
    write_line(MachineLine, row, "plan_closure", act, reason=reason, evidence=evidence)
    return Done.of("plan_closure", row, f"A closure of {row.name} is planned.", "Test loads may run in it.")


@action
def lift_closure(machine: str, closure_id: int, *, reason: str, act: Act) -> Done:
    """End a closure before its time, or drop one that is not needed."""
    row = lock_machine(machine)
    step = MACHINE_STEPS["lift_closure"]
    need(step.right, step.says, row.name, act)
    reason = reason_given(reason, step.says, row.name)
    closure = MachineClosure.objects.filter(machine=row, pk=closure_id).in_force(act.at).first()
    if closure is None:
        sentence = f"Cannot lift a closure of {row.name}: it is none in force, must be one."
        raise Refused(stop("no-such-closure", row.code, sentence, "Nothing was changed."))
    closure.lifted_at, closure.lifted_by = act.at, act.by
    closure.save(update_fields=["lifted_at", "lifted_by"])
    write_line(MachineLine, row, "lift_closure", act, reason=reason, evidence={"closure": closure.pk})
    return Done.of("lift_closure", row, f"The closure of {row.name} is lifted.")
