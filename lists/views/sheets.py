"""The go / no go sheet of a day and its walks along the shelves: as they are now, and as they were printed."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.reads import policy
from journal.roles import Right
from lists import actions
from lists.models import GoSheet
from lists.paper import pick_list
from lists.reads import going, picking


@require_safe
def go_day(request: HttpRequest, day: date) -> HttpResponse:
    """Each case to come with its verdict and who has taken it on, and the sheets that were printed."""
    said = going(day, at=timezone.now())
    context = {
        "said": said,
        "found": said.found,
        "sheets": GoSheet.objects.filter(day=day).defer("document").select_related("drawn_by"),
        "hour": int(policy("sheet_hour")),
        "may_print": Right.PLAN in person_of(request).rights and said.rows,
        **_around(day),
    }
    return render(request, "lists/going.html", context)


@require_POST
def print_go_sheet(request: HttpRequest, day: date) -> HttpResponse:
    """Print the sheet as it is now."""
    to = reverse("go-day", args=[day])
    return perform(request, lambda: actions.print_go_sheet(day, act=act_of(request)), to=to)


@require_safe
def go_sheet(_request: HttpRequest, day: date, sheet: int) -> HttpResponse:
    """A sheet as it was printed, byte for byte."""
    row = get_object_or_404(GoSheet, pk=sheet, day=day)
    return _pdf(bytes(row.document), f"Go no go {day.isoformat()} {row.sha256[:8]}")


@require_safe
def pick_day(request: HttpRequest, day: date) -> HttpResponse:
    """What to fetch for each theatre, in the order of the shelves."""
    picks = picking(day, at=timezone.now(), theatre=request.GET.get("theatre", ""))
    return render(request, "lists/picking.html", {"picks": picks, "found": picks.found, **_around(day)})


@require_safe
@never_cache
def pick_day_list(request: HttpRequest, day: date) -> HttpResponse:
    """The same as PDF."""
    picks = picking(day, at=timezone.now(), theatre=request.GET.get("theatre", ""))
    return _pdf(pick_list(picks), f"Pick list {day.isoformat()}")


def _around(day: date) -> dict[str, object]:
    today = timezone.localdate()
    return {
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "relative": {0: "Today", 1: "Tomorrow", -1: "Yesterday"}.get((day - today).days, ""),
    }


def _pdf(document: bytes, name: str) -> HttpResponse:
    disposition = f'inline; filename="{name}.pdf"'
    return HttpResponse(document, content_type="application/pdf", headers={"Content-Disposition": disposition})
