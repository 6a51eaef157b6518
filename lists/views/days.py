"""The coordinator's days: which have cases, and how ready one of them is."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.roles import Right
from lists import actions
from lists.forms import DayForm
from lists.models import Message, TheatreList
from lists.reads import day_needs, fixes_of, readiness_of
from lists.states import OPEN_CASES, CaseState
from lists.views.rows import day_row

ONLY_OPEN = "not-complete"
LOOK_BACK = timedelta(days=7)


@require_safe
def lists(request: HttpRequest) -> HttpResponse:
    """The days from a week ago on that have cases; or one day, asked for."""
    form = DayForm(request.GET or None)
    if form.is_valid():
        return redirect("list-day", form.cleaned_data["day"])
    today = timezone.localdate()
    days = (
        TheatreList.objects.filter(day__gte=today - LOOK_BACK)
        .values("day")
        .annotate(
            number=Count("cases", filter=~Q(cases__state=CaseState.CANCELLED)),
            to_come=Count("cases", filter=Q(cases__state__in=list(OPEN_CASES))),
        )
        .filter(number__gt=0)
        .order_by("day")
    )
    context = {
        "coming": [row for row in days if row["day"] >= today],
        "gone": [row for row in reversed(days) if row["day"] < today],
        "form": form,
        "messages_open": Message.objects.still_open().count(),
        "today": today,
        "tomorrow": today + timedelta(days=1),
        "may_plan": Right.PLAN in person_of(request).rights,
    }
    return render(request, "lists/lists.html", context)


@require_safe
def list_day(request: HttpRequest, day: date) -> HttpResponse:
    """One day: a row per case with its verdict, its sets and what to do."""
    theatre, show = request.GET.get("theatre", ""), request.GET.get("show", "")
    read = day_needs(day, at=timezone.now())
    found, fixes = readiness_of(read, theatre=theatre), fixes_of(read)
    rows = [day_row(row, fixes.get(row.case.code)) for row in found.rows]
    still_open = [row for row in rows if row.needs_work]
    today = timezone.localdate()
    context = {
        "found": found,
        "rows": still_open if show == ONLY_OPEN else rows,
        "show": show,
        "still_open": len(still_open),
        "unchosen": sum(row.unchosen for row in rows),
        "theatre": theatre,
        "theatres": [row.theatre for row in TheatreList.objects.filter(day=day).select_related("theatre")],
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "relative": {0: "Today", 1: "Tomorrow", -1: "Yesterday"}.get((day - today).days, ""),
        "may_plan": Right.PLAN in person_of(request).rights,
    }
    return render(request, "lists/day.html", context)


@require_POST
def allocate_day(request: HttpRequest, day: date) -> HttpResponse:
    """Give the day's open requirements what is free."""
    to = reverse("list-day", args=[day])
    return perform(request, lambda: actions.allocate_list(day, act=act_of(request)), to=to)
