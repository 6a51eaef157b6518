"""How long each stage takes at this unit."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lists.learning import WORTH_OF_POLICY
from lists.reads.stage_learning import DAYS, learned_stages


@require_safe
def stage_times(request: HttpRequest) -> HttpResponse:
    """A row for each stage: its policy, what the trails say, and both together."""
    context = {"rows": learned_stages(at=timezone.now()), "days": DAYS, "worth": WORTH_OF_POLICY}
    return render(request, "lists/times.html", context)
