"""Doors of pieces: one address per verb."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_POST

from instruments.verbs import piece_action
from journal.doors import act_of, perform


@require_POST
def piece_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do what the piece's page offers."""
    found = piece_action(verb)
    if found is None:
        raise Http404
    offered, run = found
    given = {"reason": request.POST.get("reason", "")} if offered.asks else {}
    return perform(request, lambda: run(code, **given, act=act_of(request)), to=reverse("piece", args=[code]))
