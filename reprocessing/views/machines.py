"""The list of machines, and the page of one."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from journal.doors import person_of
from journal.models import Person
from reprocessing import actions, forms
from reprocessing.models import Doubt, Load, Machine, MachineClosure, MachineLot
from reprocessing.reads import against_return, standings_of, standings_of_each, trail_of
from reprocessing.reads.periodic import lacking_of_each
from reprocessing.reads.upkeep import proof_of_machine
from reprocessing.states import DAY_TESTS, MACHINE_MOVES, MACHINE_STEPS, LoadState, MachineKind, MachineState, TestKind
from reprocessing.views.offers import Asked, Offer, machine_offer
from reprocessing.views.verbs import Verb, carry_out

MOST_ROWS = 20
"""Tests, loads and decisions on a machine's page; the rest stands in the trail."""

VERBS: dict[str, Verb] = {
    verb.name: verb
    for verb in (
        Verb("test", "Record test", "check", forms.Test, actions.record_test, MACHINE_STEPS["record_test"]),
        Verb(
            "take_out_of_service",
            "Take out of service",
            "wrench",
            forms.MachineReason,
            actions.take_out_of_service,
            MACHINE_MOVES["take_out_of_service"],
        ),
        Verb(
            "return_to_service",
            "Return to service",
            "undo-2",
            forms.MachineReason,
            actions.return_to_service,
            MACHINE_MOVES["return_to_service"],
        ),
        Verb(
            "plan_closure",
            "Plan closure",
            "calendar-days",
            forms.PlanClosure,
            actions.plan_closure,
            MACHINE_STEPS["plan_closure"],
        ),
        Verb(
            "lift_closure",
            "Lift closure",
            "undo-2",
            forms.LiftClosure,
            actions.lift_closure,
            MACHINE_STEPS["lift_closure"],
        ),
    )
}


@require_safe
def machines(request: HttpRequest) -> HttpResponse:
    """Every machine: its state, its tests, and what it runs."""
    rows = list(Machine.objects.select_related("place"))
    at = timezone.now()
    standings, lacking = standings_of_each(rows, at), lacking_of_each(rows, at)
    closed = {row.machine_id: row for row in MachineClosure.objects.in_force(at).filter(starts_at__lte=at)}
    running = {load.machine_id: load for load in Load.objects.filter(state=LoadState.RUNNING)}
    table = [
        {
            "machine": row,
            "standings": standings[row.pk],
            "lacking": lacking[row.pk],
            "closed": closed.get(row.pk),
            "running": running.get(row.pk),
        }
        for row in rows
    ]
    return render(request, "reprocessing/machines.html", {"machines": table})


@require_safe
def machine(request: HttpRequest, code: str) -> HttpResponse:
    """One machine: its tests, the loads that a failed one puts in doubt, its latest loads, and its trail."""
    row = get_object_or_404(Machine.objects.select_related("place"), code=code)
    by, at = person_of(request), timezone.now()
    latest = list(row.loads.values_list("pk", flat=True)[:MOST_ROWS])
    in_doubt = Doubt.objects.filter(test__machine=row).select_related("test", "load__machine", "decided_by")
    context = {
        "machine": row,
        "standings": standings_of(row, at),
        "lacking": lacking_of_each([row], at)[row.pk],
        "lots": MachineLot.objects.filter(machine=row).in_use(at).order_by("product"),
        "today": timezone.localdate(at),
        "proof": proof_of_machine(row) if row.state == MachineState.OUT_OF_SERVICE else None,
        "programmes": row.programmes.order_by("code"),
        "tests": row.tests.select_related("by", "record")[:MOST_ROWS],
        "offers": _offers(row, by),
        "closures": [
            (closure, machine_offer(VERBS["lift_closure"], row, by, closure_id=closure.pk))
            for closure in MachineClosure.objects.filter(machine=row).in_force(at).select_related("planned_by")
        ],
        "now": at,
        "leak": forms.LeakRecord(auto_id="leak_%s")
        if TestKind.AIR_LEAKAGE in DAY_TESTS[MachineKind(row.kind)]
        else None,
        "doubts": [
            (doubt, Asked(doubt.load, by, at).offer("decide", test_id=doubt.test_id))
            for doubt in in_doubt.filter(decided_at=None).order_by("load_id")
        ],
        "decisions": in_doubt.exclude(decided_at=None).order_by("-decided_at")[:MOST_ROWS],
        "loads": Load.objects.filter(pk__in=latest).select_related("machine", "programme").counted(),
        "lines": trail_of(row),
    }
    return render(request, "reprocessing/machine.html", context)


def _offers(row: Machine, by: Person) -> dict[str, Offer]:
    """Each verb of a machine, by name."""
    facts = {"return_to_service": against_return(row, timezone.now())}
    return {name: machine_offer(verb, row, by, facts=facts.get(name, ())) for name, verb in VERBS.items()}


@require_POST
def machine_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """A verb on a machine; afterwards its page."""
    row = get_object_or_404(Machine, code=code)
    return carry_out(request, VERBS, verb, row.code, to=reverse("machine", args=[row.code]), machine=row)
