"""The plan of a day: what each case gets and how sure that is, what sterile services do in order, and what changed."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.roles import Right
from lists import actions
from lists.models import DayPlanRow
from lists.paper import plan_sheet
from lists.plans.day_plan import DayPlan
from lists.plans.gantt import gantt
from lists.reads import day_facts


@require_safe
def day_plan(request: HttpRequest, day: date) -> HttpResponse:
    """The plan that is being made and the best so far, or the last one."""
    at, today = timezone.now(), timezone.localdate()
    asked = DayPlanRow.objects.filter(day=day).select_related("asked_by").first()
    shown = DayPlanRow.objects.filter(day=day).usable().first()
    plan = DayPlan(shown.result, timezone.get_default_timezone()) if shown and shown.result else None
    steps = plan.steps if plan else ()
    context = {
        "day": day,
        "asked": asked,
        "shown": shown,
        "plan": plan,
        "cases": plan.cases if plan else (),
        "late": sum(not case.on_time for case in plan.cases) if plan else 0,
        "next": plan.next_load(at) if plan else None,
        "steps": steps,
        "picture": gantt(steps, plan.closed if plan else ()),
        "stale": shown and not shown.is_open and _fingerprint(shown) != shown.fingerprint,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "relative": {0: "Today", 1: "Tomorrow", -1: "Yesterday"}.get((day - today).days, ""),
        "may_plan": Right.PLAN in person_of(request).rights and day >= today,
    }
    return render(request, "lists/day_plan.html", context)


@require_safe
@never_cache
def plan_work_list(_request: HttpRequest, day: date) -> HttpResponse:
    """The work of the newest plan in order, as PDF."""
    shown = DayPlanRow.objects.filter(day=day).usable().first()
    if shown is None or not shown.result:
        raise Http404
    plan = DayPlan(shown.result, timezone.get_default_timezone())
    document = plan_sheet(shown, plan, stale=_fingerprint(shown) != shown.fingerprint, at=timezone.now())
    disposition = {"Content-Disposition": f'inline; filename="Work list {day.isoformat()}.pdf"'}
    return HttpResponse(document, content_type="application/pdf", headers=disposition)


def _fingerprint(shown: DayPlanRow) -> str:
    """Of what the plan would go by now."""
    return day_facts(shown.day, at=timezone.now(), careful=shown.careful).fingerprint


@require_POST
def ask_for_plan(request: HttpRequest, day: date) -> HttpResponse:
    """Have the day planned."""
    careful = request.POST.get("careful") == "on"
    to = reverse("day-plan", args=[day])
    return perform(request, lambda: actions.ask_for_plan(day, careful=careful, act=act_of(request)), to=to)


@require_POST
def cancel_plan(request: HttpRequest, day: date, plan: int) -> HttpResponse:
    """Stop the plan that is being made."""
    to = reverse("day-plan", args=[day])
    return perform(request, lambda: actions.cancel_plan(plan, act=act_of(request)), to=to)
