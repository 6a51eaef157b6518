"""Putting cases on lists, moving them, asking for more."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from journal.actions import Done
from journal.doors import SEE_OTHER, act_of, back_with, perform, person_of
from journal.findings import Refused
from journal.moves import right_missing
from journal.roles import Right
from lists import actions
from lists.forms import FIRST_START, CaseForm, DayForm, MoveForm, RequirementForm


@require_http_methods(["GET", "HEAD", "POST"])
def plan_case(request: HttpRequest) -> HttpResponse:
    """The form for a new case, and its entry; what was written stays there when it is refused."""
    form = CaseForm(request.POST or None, initial=_initial(request))
    done = _planned(request, form) if form.is_valid() else None
    if done is not None:
        messages.success(request, f"{done.sentence} {done.next_step}".strip())
        return HttpResponseRedirect(reverse("case", args=[done.mark]), status=SEE_OTHER)
    may_plan = Right.PLAN in person_of(request).rights
    why_not = "" if may_plan else right_missing(Right.PLAN, "plan", "a case").words
    context = {"form": form, "why_not": why_not}
    return render(request, "lists/plan_case.html", context, status=422 if form.is_bound else 200)


def _initial(request: HttpRequest) -> dict[str, Any]:
    day = DayForm(request.GET)
    return {"starts_at": datetime.combine(day.cleaned_data["day"], FIRST_START)} if day.is_valid() else {}


def _planned(request: HttpRequest, form: CaseForm) -> Done | None:
    chosen = {name: form.cleaned_data[name].code for name in ("theatre", "procedure")}
    try:
        return actions.plan_case(**form.cleaned_data | chosen, act=act_of(request))
    except Refused as refused:
        for finding in refused.findings:
            form.add_error(None, finding.words)
    return None


@require_POST
def move_case(request: HttpRequest, code: str) -> HttpResponse:
    """The case goes to another time."""
    form, to = MoveForm(request.POST), reverse("case", args=[code])
    if not form.is_valid():
        return back_with(request, form, to=to)
    theatre = form.cleaned_data["theatre"]
    starts_at, room = form.cleaned_data["starts_at"], theatre.code if theatre else ""
    return perform(request, lambda: actions.move_case(code, starts_at, theatre=room, act=act_of(request)), to=to)


@require_POST
def add_requirement(request: HttpRequest, code: str) -> HttpResponse:
    """The case needs one more thing."""
    form, to = RequirementForm(request.POST), reverse("case", args=[code])
    if not form.is_valid():
        return back_with(request, form, to=to)
    reason = form.cleaned_data.pop("reason")
    chosen = {name: row.code for name, row in form.cleaned_data.items() if row}
    return perform(request, lambda: actions.add_requirement(code, **chosen, reason=reason, act=act_of(request)), to=to)
