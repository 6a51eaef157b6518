"""Pages that need every app: the day, the scan station, and finding things."""

from __future__ import annotations

import uuid
from datetime import timedelta
from http import HTTPStatus
from typing import Any

from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from config.context import address
from config.finding import MOST, look_up
from config.station.answers import Press, Result
from config.station.memory import Memory
from config.station.modes import MODES
from config.station.queues import work_queues
from config.station.run import take_press, take_scan
from config.station.screen import Mode, View, no_right
from instruments.actions import check_scanner
from instruments.forms import ScannerForm
from journal.doors import SEE_OTHER, act_of, back_with, perform, person_of, station_of
from journal.models import Notice
from journal.reads import scanner_trusted
from lists.reads import list_readiness

MOST_NOTICES = 6


@require_safe
def day(request: HttpRequest) -> HttpResponse:
    """What waits, what to know, and where to go on."""
    person, at = person_of(request), timezone.now()
    today = timezone.localdate(at)
    mine = Notice.objects.shown_to(person).still_open()
    context = {
        "at": at,
        "roles": sorted(person.roles),
        "work": [mode for mode in MODES.values() if mode.right in person.rights],
        "queues": [(queue, _where(queue.work)) for queue in work_queues(at)],
        "lists": [list_readiness(today + timedelta(days=ahead), at=at) for ahead in (0, 1)],
        "notices": mine[:MOST_NOTICES],
        "notice_count": mine.count(),
        "station": station_of(request),
    }
    return render(request, "station/day.html", context)


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """The page of what a mark stands for; else what a text is part of."""
    text = request.GET.get("q", "")
    found, finding = look_up(text) if text.strip() else ((), None)
    if isinstance(found, str):
        return redirect(found)
    return render(request, "station/find.html", {"q": text, "found": found, "finding": finding, "most": MOST})


@require_safe
def guide(request: HttpRequest) -> HttpResponse:
    """How the work at the stations goes, and what to be careful of."""
    return render(request, "station/help.html", {"modes": MODES.values()})


@require_safe
def scan(request: HttpRequest) -> HttpResponse:
    """Choose the work."""
    person = person_of(request)
    work = [(mode, no_right(mode.right, person)) for mode in MODES.values()]
    return render(request, "station/work.html", {"work": work, "station": station_of(request)})


@require_http_methods(["GET", "HEAD", "POST"])
def scanner_check(request: HttpRequest) -> HttpResponse:
    """Scan the scanner card: whether this station's scanner can be trusted, or what is wrong with it."""
    here = station_of(request)
    if request.method != "POST" or here is None:
        context = {"here": here, "trusted": here and scanner_trusted(here, timezone.now())}
        return render(request, "station/check.html", context)
    given = ScannerForm(request.POST)
    if not given.is_valid():
        return back_with(request, given, to=reverse("scan-check"))
    return perform(
        request,
        lambda: check_scanner(here.name, **given.cleaned_data, act=act_of(request)),
        to=reverse("scan-check"),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def scan_mode(request: HttpRequest, slug: str) -> HttpResponse:
    """One kind of work: its page, and what a scan does there."""
    mode, memory = _mode(request, slug)
    if request.method != "POST":
        return render(request, "station/scan.html", _page(request, mode, memory))
    row = take_scan(mode, memory, request.POST.get("code", ""), act_of(request))
    return _answered(request, mode, memory, row)


@require_POST
def press(request: HttpRequest, slug: str, name: str) -> HttpResponse:
    """A button of the work."""
    mode, memory = _mode(request, slug)
    if name not in mode.presses:
        raise Http404
    row = take_press(mode, memory, name, Press(request.POST, memory.held, act_of(request)))
    return _answered(request, mode, memory, row)


@require_POST
def let_go(request: HttpRequest, slug: str) -> HttpResponse:
    """Finish with what the work carries, and wait for the next."""
    mode, memory = _mode(request, slug)
    memory.let_go()
    return HttpResponseRedirect(reverse("scan-mode", args=[mode.slug]), status=SEE_OTHER)


def _where(work: str) -> str:
    """The address where a kind of work is taken on: a mode of the station, or a page by its name."""
    return address("scan-mode", work) if work in MODES else address(work)


def _mode(request: HttpRequest, slug: str) -> tuple[Mode, Memory]:
    if slug not in MODES:
        raise Http404
    return MODES[slug], Memory(request.session, slug)


def _page(request: HttpRequest, mode: Mode, memory: Memory) -> dict[str, Any]:
    person, at = person_of(request), timezone.now()
    return {
        "mode": mode,
        "key": uuid.uuid4(),
        "lacks": no_right(mode.right, person),
        "station": station_of(request),
        "shown": mode.show(View(memory.held, person, at)),
        "now": memory.now(at),
        "done": memory.done,
        "count": memory.count,
    }


def _answered(request: HttpRequest, mode: Mode, memory: Memory, row: dict[str, Any]) -> HttpResponse:
    """The three zones to swap in, or the page that shows them; or the page where the work goes on."""
    here = reverse("scan-mode", args=[mode.slug])
    if row["leaves"]:
        logout(request)
    to = f"{address('sign-in')}?next={here}" if row["leaves"] else row["go"] or here
    if "HX-Request" not in request.headers:
        return HttpResponseRedirect(to, status=SEE_OTHER)
    if to != here:
        return HttpResponseClientRedirect(to)
    status = HTTPStatus.CONFLICT if row["result"] == Result.STOP else HTTPStatus.OK
    return render(request, "station/scan.html#answer", {**_page(request, mode, memory), "now": row}, status=status)
