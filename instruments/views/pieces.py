"""Doors of pieces: one address per verb."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_POST

from instruments import actions
from instruments.forms import MarkForm, PieceForm
from instruments.verbs import piece_door
from journal.actions import Done
from journal.doors import act_of, back_with, perform


@require_POST
def piece_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do what the piece's page offers."""
    door, to = piece_door(verb), reverse("piece", args=[code])
    if door is None:
        raise Http404
    given = {"reason": request.POST.get("reason", "")} if door.verb.asks else {}
    if door.verb.form:
        form = door.verb.form(request.POST)
        if not form.is_valid():
            return back_with(request, form, to=to)
        given = form.cleaned_data
    return perform(request, lambda: door.run(code, **given, act=act_of(request)), to=to)


@require_POST
def add_mark(request: HttpRequest, code: str) -> HttpResponse:
    """Put a further mark on a piece."""
    form, to = MarkForm(request.POST), reverse("piece", args=[code])
    if not form.is_valid():
        return back_with(request, form, to=to)
    return perform(request, lambda: actions.add_mark(code, **form.cleaned_data, act=act_of(request)), to=to)


@require_POST
def enrol(request: HttpRequest, code: str) -> HttpResponse:
    """Enter a new piece of a part."""
    form = PieceForm(request.POST)
    if not form.is_valid():
        return back_with(request, form, to=reverse("part", args=[code]))
    mark = form.cleaned_data.pop("mark")
    marks = (mark,) if mark else ()
    return perform(
        request, lambda: actions.enrol(code, **form.cleaned_data, marks=marks, act=act_of(request)), to=_piece
    )


def _piece(done: Done) -> str:
    return reverse("piece", args=[done.mark])
