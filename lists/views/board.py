"""The wall screen of a day: nine cases at a time, to be read from 4 m, nothing to press."""

from __future__ import annotations

from datetime import date

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lists.reads import list_readiness
from lists.views.rows import day_row

ROWS = 9
"""A wall screen of 43 inches shows so many at 4 m; more would be too small to read."""
TURN_S = 20
"""A page stands so long [s]; then the next one is asked for, with what is true by then."""


@require_safe
def board(request: HttpRequest, day: date) -> HttpResponse:
    """The cases still to come, page by page; each turn asks anew."""
    found = list_readiness(day, at=timezone.now(), theatre=request.GET.get("theatre", ""))
    pages = Paginator([row for row in map(day_row, found.rows) if not row.over], ROWS)
    page = pages.get_page(request.GET.get("page"))
    context = {
        "found": found,
        "shown": page,
        "turn": page.next_page_number() if page.has_next() else 1,
        "turn_s": TURN_S,
    }
    return render(request, "lists/board.html", context)
