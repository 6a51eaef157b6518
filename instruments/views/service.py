"""Service and life: what is due, and what comes back from repair."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from instruments.reads import in_repair, service_plan
from journal.reads import policy

FARTHEST_DAYS = 3650


@require_safe
def service(request: HttpRequest) -> HttpResponse:
    """Pieces whose service or life ends within so many days or cycles, and those in repair; the soonest first."""
    asked = request.GET.get("days", "")
    usual = int(policy("service_soon_days"))
    days = min(int(asked), FARTHEST_DAYS) if asked.isdecimal() and asked.isascii() else usual
    cycles_left = int(policy("cycles_left_soon"))
    today = timezone.localdate()
    rows = service_plan(today, days=days, cycles_left=cycles_left)
    context = {
        "days": days,
        "cycles_left": cycles_left,
        "service_rows": [row for row in rows if row.by_service],
        "life_rows": [row for row in rows if row.by_life],
        "repairs": in_repair(today),
        "choices": sorted({30, 90, 180, 365, usual, days}),
        "today": today,
    }
    return render(request, "instruments/service.html", context)
