"""The cards and sheets of the stations: badges, marks of places, command cards, the scanner card."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from journal.doors import person_of
from journal.models import Person, Place
from journal.roles import Right
from trays import paper
from trays.verbs import no_right
from trays.views.packs import pdf


@require_safe
def cards(request: HttpRequest) -> HttpResponse:
    """What can be printed for the stations."""
    context = {
        "why_not": no_right({Right.PLAN}, person_of(request).rights),
        "people": Person.objects.filter(is_active=True).exclude(badge=None).order_by("display_name"),
        "places": Place.objects.all(),
    }
    return render(request, "trays/print.html", context)


@require_safe
@never_cache
def card(request: HttpRequest, what: str) -> HttpResponse:
    """One of them as PDF: for the people or places chosen, all when none is."""
    if what not in DRAWN:
        raise Http404
    if why_not := no_right({Right.PLAN}, person_of(request).rights):
        messages.error(request, f"Cannot print the {what}. {why_not}")
        return redirect("print")
    return pdf(DRAWN[what](request.GET.getlist("of")), what)


def _badges(codes: Collection[str]) -> bytes:
    people = Person.objects.filter(is_active=True).prefetch_related("duties").order_by("display_name")
    return paper.badges(people.filter(badge__in=codes) if codes else people)


def _places(codes: Collection[str]) -> bytes:
    rows = Place.objects.all()
    return paper.place_marks(rows.filter(code__in=codes) if codes else rows)


DRAWN: Mapping[str, Callable[[Collection[str]], bytes]] = {
    "badges": _badges,
    "places": _places,
    "commands": lambda _: paper.command_cards(),
    "scanner-card": lambda _: paper.scanner_card(),
}
