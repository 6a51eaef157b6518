"""Maker-sterile items into stock."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from journal.doors import act_of, perform
from trays import actions
from trays.forms import MakerPackForm


def receive(request: HttpRequest) -> HttpResponse:
    """The form for a maker's pack, and its entry."""
    form = MakerPackForm(request.POST or None)
    if not form.is_valid():
        return render(request, "trays/receive.html", {"form": form}, status=422 if form.is_bound else 200)
    loan = form.cleaned_data["loan"]
    given = form.cleaned_data | {"part": form.cleaned_data["part"].code, "loan": loan.code if loan else ""}
    to = reverse("receive")
    return perform(request, lambda: actions.receive_maker_pack(**given, act=act_of(request)), to=to)
