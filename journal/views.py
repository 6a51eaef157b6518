"""Pages around the person: signing in, the station they stand at, and what they must know."""

from __future__ import annotations

from datetime import timedelta

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from journal.doors import SEE_OTHER, STATION, is_local, person_of, station_of
from journal.forms import SignInForm
from journal.models import Notice, Station

STATION_COOKIE = "station"
STATION_COOKIE_S = 365 * 24 * 60 * 60
RECENTLY = timedelta(days=7)
MOST_CLOSED = 50


class SignIn(LoginView):
    """Sign in; the station stays the browser's when the person changes."""

    template_name = "journal/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Start the session with the station that this browser stands at."""
        answer = super().form_valid(form)
        name = self.request.COOKIES.get(STATION_COOKIE, "")
        at = Station.objects.filter(name=name).first()
        if at is not None:
            self.request.session[STATION] = at.pk
        return answer


@require_http_methods(["GET", "HEAD", "POST"])
def station(request: HttpRequest) -> HttpResponse:
    """Say which station this browser stands at; every step then carries it."""
    if request.method != "POST":
        stations = Station.objects.select_related("place").order_by("place__name", "name")
        return render(request, "journal/station.html", {"stations": stations, "here": station_of(request)})
    back = request.POST.get("back", "")
    answer = HttpResponseRedirect(back if is_local(back) else "/", status=SEE_OTHER)
    chosen = Station.objects.filter(name=request.POST.get("station", "")).first()
    if chosen is None:
        request.session.pop(STATION, None)
        answer.delete_cookie(STATION_COOKIE)
        messages.success(request, "No station: steps are recorded without one.")
    else:
        request.session[STATION] = chosen.pk
        answer.set_cookie(STATION_COOKIE, chosen.name, STATION_COOKIE_S, httponly=True, samesite="Strict")
        messages.success(request, f"This is {chosen.name}.")
    return answer


@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """What my roles must know: still open, and closed of late."""
    person = person_of(request)
    mine = Notice.objects.shown_to(person)
    closed = mine.filter(closed_at__gte=timezone.now() - RECENTLY).order_by("-closed_at")
    context = {
        "roles": sorted(person.roles),
        "still_open": mine.still_open(),
        "closed": closed[:MOST_CLOSED],
        "days": RECENTLY.days,
    }
    return render(request, "journal/notices.html", context)
