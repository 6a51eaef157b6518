"""Putting cases on lists, moving them, asking for more."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST

from journal.actions import Done
from journal.doors import act_of, back_with, perform
from lists import actions
from lists.forms import CaseForm, MoveForm, RequirementForm


def plan_case(request: HttpRequest) -> HttpResponse:
    """The form for a new case, and its entry."""
    form = CaseForm(request.POST or None)
    if not form.is_valid():
        return render(request, "lists/plan_case.html", {"form": form}, status=422 if form.is_bound else 200)
    given = form.cleaned_data | {
        "theatre": form.cleaned_data["theatre"].code,
        "procedure": form.cleaned_data["procedure"].code,
    }
    return perform(request, lambda: actions.plan_case(**given, act=act_of(request)), to=_case)


def _case(done: Done) -> str:
    return reverse("case", args=[done.mark])


@require_POST
def move_case(request: HttpRequest, code: str) -> HttpResponse:
    """The case goes to another time."""
    form = MoveForm(request.POST)
    if not form.is_valid():
        return back_with(request, form, to=reverse("case", args=[code]))
    theatre = form.cleaned_data["theatre"]
    starts_at, room = form.cleaned_data["starts_at"], theatre.code if theatre else ""
    run = lambda: actions.move_case(code, starts_at, theatre=room, act=act_of(request))  # noqa: E731
    return perform(request, run, to=reverse("case", args=[code]))


@require_POST
def add_requirement(request: HttpRequest, code: str) -> HttpResponse:
    """The case needs one more thing."""
    form = RequirementForm(request.POST)
    if not form.is_valid():
        return back_with(request, form, to=reverse("case", args=[code]))
    chosen = {name: row.code for name, row in form.cleaned_data.items() if row}
    run = lambda: actions.add_requirement(code, **chosen, act=act_of(request))  # noqa: E731
    return perform(request, run, to=reverse("case", args=[code]))
