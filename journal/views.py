"""Pages around the person (signing in, station, notices), and the sealed trail."""

from __future__ import annotations

from datetime import timedelta

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from journal.actions import acknowledge, close_channel, open_channel, send_again, verify_trail
from journal.doors import SEE_OTHER, STATION, act_of, back_with, is_local, perform, person_of, station_of
from journal.forms import ChannelForm, SignInForm
from journal.models import Channel, Head, Notice, SealedLeaf, Station, Verification
from journal.reads import TAIL_MOST, UNSENT_DAYS, tail, unsent
from journal.roles import Right
from journal.sealing import proof_of

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
        "still_open": mine.still_open().select_related("acknowledged_by"),
        "closed": closed[:MOST_CLOSED],
        "days": RECENTLY.days,
        "quality": Right.DECIDE in person.rights,
        "master": Right.MASTER in person.rights,
    }
    return render(request, "journal/notices.html", context)


@require_safe
def notice(request: HttpRequest, notice: int) -> HttpResponse:
    """One notice: what it says, how far it has climbed, and what has left the unit of it."""
    person = person_of(request)
    rows = Notice.objects.all() if Right.MASTER in person.rights else Notice.objects.shown_to(person)
    row = get_object_or_404(rows.select_related("acknowledged_by"), pk=notice)
    mine = Notice.objects.shown_to(person).still_open().filter(pk=row.pk).exists()
    context = {"notice": row, "deliveries": row.deliveries.select_related("channel"), "mine": mine}
    return render(request, "journal/notice.html", context)


@require_POST
def notice_acknowledge(request: HttpRequest, notice: int) -> HttpResponse:
    """A notice is seen and taken on."""
    return perform(request, lambda: acknowledge(notice, act=act_of(request)), to=reverse("notices"))


@require_safe
def channels(request: HttpRequest) -> HttpResponse:
    """Where notices leave the unit, and what could not be sent; for whoever keeps the master data."""
    if Right.MASTER not in person_of(request).rights:
        raise PermissionDenied
    rows = unsent(timezone.now()).select_related("notice", "channel")
    failed = {row.channel_id for row in rows}
    context = {
        "in_use": [(channel, channel.pk in failed) for channel in Channel.objects.in_use()],
        "closed": Channel.objects.exclude(closed_at=None).select_related("closed_by").order_by("-closed_at"),
        "unsent": rows,
        "days": UNSENT_DAYS,
        "form": ChannelForm(),
    }
    return render(request, "journal/channels.html", context)


@require_POST
def channel_open(request: HttpRequest) -> HttpResponse:
    """Notices leave by a channel from now on."""
    form, to = ChannelForm(request.POST), reverse("channels")
    if not form.is_valid():
        return back_with(request, form, to=to)
    return perform(request, lambda: open_channel(**form.cleaned_data, act=act_of(request)), to=to)


@require_POST
def channel_close(request: HttpRequest, channel: int) -> HttpResponse:
    """No notice leaves by it any more."""
    return perform(request, lambda: close_channel(channel, act=act_of(request)), to=reverse("channels"))


@require_POST
def channel_again(request: HttpRequest, channel: int) -> HttpResponse:
    """Send what could not be sent by it."""
    return perform(request, lambda: send_again(channel, act=act_of(request)), to=reverse("channels"))


@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    """The sealed trail: its last head, what waits for a seal, the last check."""
    waiting, checks = tail(), Verification.objects.select_related("asked_by")
    context = {
        "head": Head.objects.last(),
        "tail": waiting,
        "late": waiting.age(timezone.now()) > TAIL_MOST,
        "last": checks.exclude(finished_at=None).first(),
        "asked": checks.filter(finished_at=None).first(),
        "may": Right.DECIDE in person_of(request).rights,
    }
    return render(request, "journal/trail.html", context)


@require_POST
def trail_verify(request: HttpRequest) -> HttpResponse:
    """Ask for a check of the trail."""
    return perform(request, lambda: verify_trail(act=act_of(request)), to=reverse("trail"))


@require_safe
def trail_head(_request: HttpRequest, size: int) -> HttpResponse:
    """A signed head as a file, to be kept outside."""
    head = get_object_or_404(Head, size=size)
    return _download(head.signed.as_dict(), f"head-{head.size}.json")


@require_safe
def trail_proof(request: HttpRequest, position: int) -> HttpResponse:
    """One sealed row with the proof that it stands in the trail, for the quality lead: it holds all that the row does.

    `?from=SIZE` adds the proof of growth from a head that was kept outside.
    """
    if Right.DECIDE not in person_of(request).rights:
        raise PermissionDenied
    leaf = get_object_or_404(SealedLeaf.objects.select_related("head"), position=position)
    older = [int(size) for size in request.GET.getlist("from") if size.isdecimal()]
    return _download(proof_of(leaf, [leaf.head.size, *older]), f"proof-{position}.json")


def _download(document: dict[str, object], name: str) -> HttpResponse:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return JsonResponse(document, headers=disposition, json_dumps_params={"indent": 1, "ensure_ascii": False})
