"""A case: what it needs, from where, what was handed to it, and what can be done with it."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.roles import Right
from lists import actions
from lists.forms import MoveForm, RequirementForm
from lists.models import Case, Requirement
from lists.reads import case_history, choices_for, day_needs, fixes_of, newer_needs, readiness_of
from lists.states import CaseState
from lists.trail import told
from lists.verbs import case_action, case_offers
from lists.views.rows import day_row


@require_safe
def case(request: HttpRequest, code: str) -> HttpResponse:
    """A case: what it needs and from where, and everything that was handed to it."""
    row = get_object_or_404(Case.objects.select_related("list__theatre", "procedure"), code=code)
    at, rights = timezone.now(), person_of(request).rights
    read = day_needs(row.list.day, at=at)
    day = readiness_of(read)
    shown = next((day_row(one) for one in day.rows if one.case.pk == row.pk and one.readiness), None)
    may_plan = Right.PLAN in rights and shown is not None
    may_move = may_plan and row.state == CaseState.PLANNED
    fixes = fixes_of(read, only=(row.code,)) if shown else {}
    choices = choices_for(row, at=at) if may_plan else {}
    history = case_history(row)
    context = {
        "case": row,
        "at": day.at,
        "shown": shown,
        "sets": [(one, choices.get(one.need.need.requirement, ())) for one in shown.sets] if shown else [],
        "fixes": fixes.get(row.code),
        "may_plan": may_plan,
        "history": history,
        "trail": told(history.lines),
        "may_prove": Right.DECIDE in person_of(request).rights,
        "newer": newer_needs(row) if may_plan else (),
        "offers": case_offers(row, rights),
        "move_form": MoveForm(initial={"starts_at": row.starts_at}) if may_move else None,
        "requirement_form": RequirementForm() if may_plan else None,
    }
    return render(request, "lists/case.html", context)


@require_POST
def allocate(request: HttpRequest, requirement: int) -> HttpResponse:
    """Choose the tray or pack for one requirement."""
    row = get_object_or_404(Requirement.objects.select_related("case"), pk=requirement)
    kind, _, code = request.POST.get("choice", "").partition(":")
    chosen = {"tray": code} if kind == "tray" else {"pack": code}
    reason = request.POST.get("reason", "")
    to = reverse("case", args=[row.case.code])
    return perform(request, lambda: actions.allocate(row.pk, **chosen, reason=reason, act=act_of(request)), to=to)


@require_POST
def free(request: HttpRequest, requirement: int) -> HttpResponse:
    """Take the choice for one requirement back."""
    row = get_object_or_404(Requirement.objects.select_related("case"), pk=requirement)
    reason = request.POST.get("reason", "")
    to = reverse("case", args=[row.case.code])
    return perform(request, lambda: actions.free(row.pk, reason=reason, act=act_of(request)), to=to)


@require_POST
def case_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do what the case's page offers."""
    found = case_action(verb)
    if found is None:
        raise Http404
    offered, run = found
    given = {"reason": request.POST.get("reason", "")} if offered.asks else {}
    return perform(request, lambda: run(code, **given, act=act_of(request)), to=reverse("case", args=[code]))
