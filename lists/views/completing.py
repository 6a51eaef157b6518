"""Which of a day's trays can be completed: the page, and the moves as a sheet for the walk."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lists.paper import work_sheet
from lists.reads import completing


@require_safe
def complete_day(request: HttpRequest, day: date) -> HttpResponse:
    """The trays that a day still needs: which can be completed, with which moves, and which cannot."""
    today = timezone.localdate()
    context = {
        "found": completing(day, at=timezone.now()),
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "relative": {0: "Today", 1: "Tomorrow", -1: "Yesterday"}.get((day - today).days, ""),
    }
    return render(request, "lists/completing.html", context)


@require_safe
@never_cache
def complete_day_sheet(request: HttpRequest, day: date) -> HttpResponse:  # noqa: ARG001 - every view takes it
    """The moves of a day as PDF, as they are now."""
    document = work_sheet(completing(day, at=timezone.now()))
    disposition = f'inline; filename="Trays to complete {day.isoformat()}.pdf"'
    return HttpResponse(document, content_type="application/pdf", headers={"Content-Disposition": disposition})
