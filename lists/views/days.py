"""The coordinator's pages: the days, one day's readiness, a case."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from journal.doors import act_of, perform, person_of
from journal.moves import why_not
from journal.roles import Right
from lists import actions
from lists.forms import MoveForm, RequirementForm
from lists.models import Case, Requirement, TheatreList
from lists.reads import case_history, choices_for, list_readiness
from lists.states import CASE_MOVES, Readiness

ONLY_OPEN = "not-complete"


def lists(request: HttpRequest) -> HttpResponse:
    """The days around today that have cases."""
    today = timezone.localdate()
    days = (
        TheatreList.objects.filter(day__gte=today - timedelta(days=7), cases__isnull=False)
        .values("day")
        .annotate(number=Count("cases"))
        .order_by("day")
    )
    return render(request, "lists/lists.html", {"days": list(days), "today": today})


def list_day(request: HttpRequest, day: date) -> HttpResponse:
    """One day: a row per case with its verdict, its sets and what to do."""
    found = list_readiness(day, at=timezone.now(), theatre=request.GET.get("theatre", ""))
    only = request.GET.get("show") == ONLY_OPEN
    rows = [row for row in found.rows if not only or _is_open(row.readiness.verdict if row.readiness else None)]
    context = {
        "found": found,
        "rows": rows,
        "only": only,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "may_plan": Right.PLAN in person_of(request).rights,
    }
    return render(request, "lists/day.html", context)


def _is_open(verdict: Readiness | None) -> bool:
    return verdict not in (None, Readiness.COMPLETE)


def case(request: HttpRequest, code: str) -> HttpResponse:
    """A case: what it needs and from where, and everything that was handed to it."""
    row = get_object_or_404(Case.objects.select_related("list__theatre", "procedure"), code=code)
    found = list_readiness(row.list.day, at=timezone.now())
    readiness = next((one.readiness for one in found.rows if one.case.pk == row.pk), None)
    rights = person_of(request).rights
    choices = choices_for(row, at=timezone.now()) if Right.PLAN in rights else {}
    context = {
        "case": row,
        "needs": [(need, choices.get(need.need.requirement, ())) for need in readiness.needs] if readiness else [],
        "readiness": readiness,
        "history": case_history(row),
        "move_form": MoveForm() if Right.PLAN in rights and readiness else None,
        "requirement_form": RequirementForm(),
        "why_not_end": why_not(CASE_MOVES["end"], subject=f"case {row.code}", state=row.state, rights=rights),
        "why_not_cancel": why_not(CASE_MOVES["cancel"], subject=f"case {row.code}", state=row.state, rights=rights),
    }
    return render(request, "lists/case.html", context)


@require_POST
def allocate_day(request: HttpRequest, day: date) -> HttpResponse:
    """Give the day's open requirements what is free."""
    to = reverse("list-day", args=[day])
    return perform(request, lambda: actions.allocate_list(day, act=act_of(request)), to=to)


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
def end_case(request: HttpRequest, code: str) -> HttpResponse:
    """The case is over."""
    return perform(request, lambda: actions.end_case(code, act=act_of(request)), to=reverse("case", args=[code]))


@require_POST
def cancel_case(request: HttpRequest, code: str) -> HttpResponse:
    """The case will not take place."""
    reason = request.POST.get("reason", "")
    to = reverse("case", args=[code])
    return perform(request, lambda: actions.cancel_case(code, reason=reason, act=act_of(request)), to=to)
