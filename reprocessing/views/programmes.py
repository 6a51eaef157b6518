"""What programmes demand and what they allow; the limits of low-temperature ones are entered here."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from instruments.models import Programme, ProgrammeKind
from journal.doors import act_of, perform, person_of
from journal.moves import right_missing
from journal.roles import Right
from reprocessing import actions, forms


@require_safe
def programmes(request: HttpRequest) -> HttpResponse:
    """Every programme with its kind, its source and the machines that run it; the limits of low-temperature ones."""
    rows = Programme.objects.prefetch_related("machines", "phases", "lumen_limits")
    lacks = Right.MASTER not in person_of(request).rights
    cold = [
        (row, forms.LimitLoads(initial=_now(row), auto_id=f"{row.code}_loads_%s"), _lumens(row))
        for row in rows.filter(kind=ProgrammeKind.LOW_TEMPERATURE)
    ]
    context = {
        "programmes": rows,
        "cold": cold,
        "why_not": right_missing(Right.MASTER, "limit", "a programme") if lacks else None,
    }
    return render(request, "reprocessing/programmes.html", context)


def _now(row: Programme) -> dict[str, object]:
    return {"most_load_g": row.most_load_g, "dry_only": row.dry_only, "no_cellulose": row.no_cellulose}


def _lumens(row: Programme) -> forms.LimitLumens:
    return forms.LimitLumens(auto_id=f"{row.code}_lumens_%s")


@require_POST
def limit_loads(request: HttpRequest, code: str) -> HttpResponse:
    """Set what a programme asks of its loads."""
    said = forms.LimitLoads(request.POST)
    return perform(
        request,
        lambda: actions.limit_loads(code, **forms.filled(said), act=act_of(request)),
        to=reverse("programmes"),
    )


@require_POST
def limit_lumens(request: HttpRequest, code: str) -> HttpResponse:
    """Enter lumens that a programme reaches."""
    said = forms.LimitLumens(request.POST)
    return perform(
        request,
        lambda: actions.limit_lumens(code, **forms.filled(said), act=act_of(request)),
        to=reverse("programmes"),
    )


@require_POST
def drop_limit(request: HttpRequest, limit: int) -> HttpResponse:
    """Take a limit of lumens back."""
    reason = request.POST.get("reason", "")
    return perform(
        request,
        lambda: actions.drop_lumen_limit(limit, reason=reason, act=act_of(request)),
        to=reverse("programmes"),
    )
