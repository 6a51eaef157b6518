"""Checks of residual protein: which washers are due, what was found, and one more check."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from instruments.reads.pieces import code_by_mark
from journal.actions import Done
from journal.doors import act_of, perform, person_of
from journal.moves import right_missing
from journal.policies import POLICIES
from journal.reads import policy
from journal.roles import Right
from reprocessing import actions, forms
from reprocessing.models import Machine, ProteinCheck
from reprocessing.reads.residue import protein_of_each

MOST_ROWS = 100


@require_http_methods(["GET", "HEAD", "POST"])
def protein(request: HttpRequest) -> HttpResponse:
    """What was found, and one more check."""
    if request.method == "POST":
        return _record(request)
    machines, at = list(Machine.objects.all()), timezone.now()
    due = protein_of_each(machines, at)
    lacks = Right.INSPECT not in person_of(request).rights
    checks = ProteinCheck.objects.select_related("piece__part", "load__machine", "by")
    context = {
        "washers": [(machine, due[machine.pk]) for machine in machines if machine.pk in due],
        "limit_ug": policy("protein_limit_ug"),
        "source": POLICIES["protein_limit_ug"].source,
        "checks": checks[:MOST_ROWS],
        "form": forms.ProteinFound(initial={"piece": request.GET.get("piece", "")}),
        "why_not": right_missing(Right.INSPECT, "check the protein on", "a piece") if lacks else None,
    }
    return render(request, "reprocessing/protein.html", context)


def _record(request: HttpRequest) -> HttpResponse:
    form = forms.ProteinFound(request.POST)

    def run() -> Done:
        said = forms.filled(form)
        code, _ = code_by_mark(said.pop("piece"))
        return actions.check_protein(code, **said, act=act_of(request))

    return perform(request, run, to=reverse("protein"))
