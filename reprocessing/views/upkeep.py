"""What a machine draws on, its water and its periodic tests; and the periodic tests that the unit asks for."""

from __future__ import annotations

from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.moves import right_missing
from journal.roles import Right
from reprocessing import actions, forms
from reprocessing.models import Machine, MachineLot, PeriodicResult, PeriodicTest
from reprocessing.reads.periodic import stands_of
from reprocessing.reads.residue import protein_of_each
from reprocessing.states import MACHINE_STEPS
from reprocessing.views.offers import machine_offer
from reprocessing.views.verbs import Verb, carry_out

MOST_ROWS = 20
"""Lots and results on the page of a machine; the rest stands in its trail."""

VERBS: dict[str, Verb] = {
    verb.name: verb
    for verb in (
        Verb(
            "put_lot_in_use",
            "Put lot in use",
            "droplets",
            forms.PutLotInUse,
            actions.put_lot_in_use,
            MACHINE_STEPS["put_lot_in_use"],
        ),
        Verb(
            "take_lot_out_of_use",
            "Take out of use",
            "undo-2",
            forms.TakeLotOutOfUse,
            actions.take_lot_out_of_use,
            MACHINE_STEPS["take_lot_out_of_use"],
        ),
        Verb(
            "record_periodic",
            "Record result",
            "check",
            forms.RecordPeriodic,
            actions.record_periodic_test,
            MACHINE_STEPS["record_periodic_test"],
        ),
    )
}


@require_safe
def upkeep(request: HttpRequest, code: str) -> HttpResponse:
    """The lots that a machine draws on, how it stands with its periodic tests, and the latest results."""
    row = get_object_or_404(Machine, code=code)
    by, at = person_of(request), timezone.now()
    lots = MachineLot.objects.filter(machine=row).select_related("since_by", "until_by")
    offers = {name: machine_offer(verb, row, by, url_name="machine-upkeep-verb") for name, verb in VERBS.items()}
    context = {
        "machine": row,
        "today": timezone.localdate(at),
        "lots": [
            (lot, machine_offer(VERBS["take_lot_out_of_use"], row, by, url_name="machine-upkeep-verb", lot_id=lot.pk))
            for lot in lots.in_use(at).order_by("product")
        ],
        "past": lots.filter(until__lte=at)[:MOST_ROWS],
        "stands": stands_of(row, at),
        "protein": protein_of_each([row], at).get(row.pk),
        "results": PeriodicResult.objects.filter(machine=row).select_related("test", "by")[:MOST_ROWS],
        "offers": offers,
    }
    return render(request, "reprocessing/machine_upkeep.html", context)


@require_POST
def upkeep_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """A verb of this page; afterwards the page."""
    row = get_object_or_404(Machine, code=code)
    return carry_out(request, VERBS, verb, row.code, to=reverse("machine-upkeep", args=[row.code]), machine=row)


@require_http_methods(["GET", "HEAD", "POST"])
def periodic_tests(request: HttpRequest) -> HttpResponse:
    """What the unit asks of its machines beside the tests of the day; and one more of them."""
    if request.method == "POST":
        said = forms.AskPeriodic(request.POST)
        here = reverse("periodic-tests")
        return perform(request, lambda: actions.ask_periodic_test(**forms.filled(said), act=act_of(request)), to=here)
    rows = PeriodicTest.objects.in_force().select_related("machine")
    lacks = Right.MASTER not in person_of(request).rights
    context = {
        "kinds": [(kind, list(tests)) for kind, tests in groupby(rows, key=lambda test: test.kind)],
        "form": forms.AskPeriodic(),
        "why_not": right_missing(Right.MASTER, "ask for", "a periodic test") if lacks else None,
    }
    return render(request, "reprocessing/periodic_tests.html", context)


@require_POST
def end_one(request: HttpRequest, test: int) -> HttpResponse:
    """A periodic test is asked for no longer."""
    reason = request.POST.get("reason", "")
    return perform(
        request,
        lambda: actions.end_periodic_test(test, reason=reason, act=act_of(request)),
        to=reverse("periodic-tests"),
    )
