"""Maker-sterile items into stock; versions of templates into force."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST

from journal.doors import act_of, perform, person_of
from journal.roles import Right
from trays import actions
from trays.forms import MakerPackForm
from trays.models import Template


def receive(request: HttpRequest) -> HttpResponse:
    """The form for a maker's pack, and its entry."""
    form = MakerPackForm(request.POST or None)
    if not form.is_valid():
        return render(request, "trays/receive.html", {"form": form}, status=422 if form.is_bound else 200)
    given = form.cleaned_data | {"part": form.cleaned_data["part"].code}
    to = reverse("receive")
    return perform(request, lambda: actions.receive_maker_pack(**given, act=act_of(request)), to=to)


def templates(request: HttpRequest) -> HttpResponse:
    """Every template with its versions and the lines of the newest."""
    rows = Template.objects.prefetch_related(
        "versions__lines__part", "versions__lines__substitutes__part", "versions__series_rules__series"
    )
    context = {"templates": rows, "may_publish": Right.MASTER in person_of(request).rights}
    return render(request, "trays/templates.html", context)


@require_POST
def publish(request: HttpRequest, code: str) -> HttpResponse:
    """The draft of a template comes into force."""
    note = request.POST.get("note", "")
    to = reverse("templates")
    return perform(request, lambda: actions.publish_version(code, note=note, act=act_of(request)), to=to)
