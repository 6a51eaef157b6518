"""What is used once: on the shelf, by lot and expiry, and what to order."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from journal.reads import policies
from trays.reads import single_use_stock, stock_terms


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Single-use items and implants; what must be ordered stands first."""
    rows = sorted(single_use_stock(timezone.now()), key=lambda row: not row.forecast.order)
    terms = stock_terms(policies())
    context = {
        "rows": rows,
        "to_order": [row for row in rows if row.forecast.order],
        "terms": terms,
        "percent": f"{100 * terms.level:g}",
    }
    return render(request, "trays/stock.html", context)
