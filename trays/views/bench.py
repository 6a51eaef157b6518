"""The assembly bench: one tray, its list, what is still open, and the field that takes every mark."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from instruments.identity import Kind, decode
from instruments.models import Piece
from instruments.reads import piece_by_mark
from journal.actions import Act, Done
from journal.doors import act_of, perform, person_of, station_of
from journal.findings import Finding, Refused, Severity
from journal.models import Person
from journal.roles import Right
from trays import actions
from trays.actions.assembly import TRAY_EMPTY, whoever_signs
from trays.matching import MISSING_LINE
from trays.models import Pack, Placement, Tray
from trays.reads import Bench, bench_of, tray_by_mark, tray_standings, version_facts
from trays.verbs import bench_offers, no_right


@dataclass(frozen=True, slots=True)
class Said:
    """What the bench answers to a scan or a button; it looks and sounds like a station's answer.

    Args:
        result: "taken", "look" or "stop".
        what: what happened.
        next_step: what to do.
        also: further things to look at, one sentence each.
    """

    result: str
    what: str
    next_step: str = ""
    also: tuple[str, ...] = ()


@require_safe
def trays(request: HttpRequest) -> HttpResponse:
    """Every tray and where it stands."""
    return render(request, "trays/trays.html", {"standings": tray_standings(at=timezone.now())})


@require_safe
def tray(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001 - every view takes it
    """A tray's mark leads to its pack while one is live, else to its bench."""
    row = _tray(code)
    pack = Pack.objects.live().filter(tray=row).first()
    return redirect("pack", pack.code) if pack else redirect("tray-bench", row.code)


@require_safe
def bench(request: HttpRequest, code: str) -> HttpResponse:
    """The bench of a tray; `?piece=` takes one of its pieces in hand."""
    template = "trays/bench.html#region" if _is_swap(request) else "trays/bench.html"
    return render(request, template, _shown(request, _tray(code), in_hand=request.GET.get("piece", "")))


@require_POST
def put(request: HttpRequest, code: str) -> HttpResponse:
    """Take a mark: lay its piece on the tray; a badge names the second person, a tray takes this one's place."""
    row, text = _tray(code), request.POST.get("code", "")
    decoded = decode(text)
    badge = decoded.key.removeprefix("text:")
    second = Person.objects.filter(badge=badge, is_active=True).first() if _is_swap(request) else None
    if second is not None:
        return _answer(request, row, lambda: _signs(second), second=badge)
    if decoded.identifiers.get("kind") == Kind.TRAY.word:
        return _answer(request, row, lambda: _other(text))
    return _answer(request, row, lambda: _lay(text, row, act_of(request)))


@require_POST
def take_off(request: HttpRequest, code: str) -> HttpResponse:
    """Take a piece off the tray."""
    row, piece = _tray(code), request.POST.get("piece", "")
    return _answer(request, row, lambda: actions.take_off_tray(piece, tray=code, act=act_of(request)))


@require_POST
def set_aside(request: HttpRequest, code: str) -> HttpResponse:
    """Set a faulty piece aside for repair."""
    row, piece, reason = _tray(code), request.POST.get("piece", ""), request.POST.get("reason", "")
    return _answer(request, row, lambda: actions.set_aside(piece, reason=reason, tray=code, act=act_of(request)))


@require_POST
def pack_single(request: HttpRequest, code: str) -> HttpResponse:
    """Wrap a piece that is not for this tray by itself."""
    row, piece = _tray(code), request.POST.get("piece", "")
    return _answer(request, row, lambda: actions.pack_single(piece, act=act_of(request)))


@require_POST
def join(request: HttpRequest, code: str) -> HttpResponse:
    """Join a piece to a closed set for life."""
    row, piece, reason = _tray(code), request.POST.get("piece", ""), request.POST.get("reason", "")
    return _answer(request, row, lambda: actions.join_closed_set(piece, code, reason=reason, act=act_of(request)))


@require_POST
def finish(request: HttpRequest, code: str) -> HttpResponse:
    """Finish the tray; the way goes on to its pack."""
    row, given = _tray(code), request.POST
    run = partial(
        actions.finish_tray,
        code,
        version=_number(given.get("version", "")),
        incomplete_reason=given.get("incomplete_reason", ""),
        second=given.get("second", ""),
        act=act_of(request),
    )
    return _answer(request, row, run, has_looked=True)


def _is_swap(request: HttpRequest) -> bool:
    """Whether the page asks for its changing part only."""
    return "HX-Request" in request.headers


def _tray(code: str) -> Tray:
    return get_object_or_404(Tray.objects.select_related("template", "home"), code=code)


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch("[0-9]{1,5}", text) else None


def _lay(text: str, on: Tray, act: Act) -> Done:
    """Lay the piece of a mark on a tray; one that lies there already is asked about instead."""
    piece, looks = piece_by_mark(text)
    try:
        done = actions.put_on_tray(piece.code, on.code, act=act)
    except Refused:
        if not Placement.objects.filter(piece=piece, tray=on).exists():
            raise
        sentence = f"{piece.part.name} {piece.code} lies on this tray already."
        remedy = "Leave it, or choose below what to do with it."
        raise Refused(Finding("on-this-tray", Severity.LOOK, piece.code, sentence, remedy)) from None
    return replace(done, findings=(*(look.as_dict() for look in looks), *done.findings))


def _other(text: str) -> Done:
    """A tray that is scanned at the bench of another takes its place."""
    other = tray_by_mark(text)
    return Done("bench", "tray", other.pk, other.code, "", f"{other.name} is on the bench.")


def _signs(person: Person) -> Done:
    """The person who signs with the one at work; finishing asks whether they may."""
    sentence = f"Second person: {person}."
    return Done("second", "badge", person.pk, str(person.badge), "", sentence, "State the reason, then finish.")


def _answer(
    request: HttpRequest,
    row: Tray,
    run: Callable[[], Done],
    *,
    second: str = "",
    has_looked: bool = False,
) -> HttpResponse:
    """Run an action and show the bench anew, or go on to the page of what came of it."""
    if not _is_swap(request):
        return perform(request, run, to=lambda done: _next(done, row))
    try:
        done = run()
    except Refused as refused:
        first, *others = refused.findings
        said = Said(first.severity, first.sentence, first.remedy, tuple(finding.words for finding in others))
        context = _shown(request, row, said=said, in_hand=first.subject, has_looked=has_looked)
        return render(request, "trays/bench.html#region", context, status=HTTPStatus.CONFLICT)
    if done.kind in ("pack", "tray"):
        perform(request, lambda: done, to="")  # what was done is said on the page where the work goes on
        return HttpResponseClientRedirect(_next(done, row))
    in_hand = done.mark if done.verb in ("take_off_tray", "join_closed_set") else ""
    context = _shown(request, row, said=_said(done), in_hand=in_hand, second=second)
    return render(request, "trays/bench.html#region", context)


def _next(done: Done, row: Tray) -> str:
    """Where the work goes on: at the pack that was made, at the tray that was scanned, or here."""
    if done.kind == "pack":
        return reverse("pack", args=[done.mark])
    return reverse("tray-bench", args=[done.mark if done.kind == "tray" else row.code])


def _said(done: Done) -> Said:
    looks = tuple(f"{found['sentence']} {found['remedy']}".strip() for found in done.findings)
    return Said("look" if looks else "taken", done.sentence, done.next_step, looks)


def _shown(
    request: HttpRequest,
    row: Tray,
    *,
    said: Said | None = None,
    in_hand: str = "",
    second: str = "",
    has_looked: bool = False,
) -> dict[str, Any]:
    """What the bench shows; what was typed for finishing stays typed."""
    given, person, at = request.POST or request.GET, person_of(request), timezone.now()
    pack = Pack.objects.live().filter(tray=row).select_related("place").first()
    context: dict[str, Any] = {
        "tray": row,
        "pack": pack,
        "key": uuid.uuid4(),
        "said": said,
        "station": station_of(request),
        "lacks": no_right({Right.ASSEMBLE}, person.rights),
        "incomplete_reason": given.get("incomplete_reason", ""),
        "second": second or given.get("second", ""),
    }
    try:
        shown = bench_of(row, at=at)
    except Refused as refused:
        return {**context, "refused": refused.findings}
    seen = None if has_looked else _number(given.get("version", ""))
    return {
        **context,
        **_judged(row, shown, seen),
        **_hand(row, in_hand, person),
        "other": shown.by_another(person, at),
    }


def _judged(row: Tray, shown: Bench, seen: int | None) -> dict[str, Any]:
    """The judgement, the version that the person works from, and what forbids finishing."""
    hindrances = list(whoever_signs(row, [placement.piece for placement in shown.laid], shown.count))
    said_by_the_list = (MISSING_LINE, TRAY_EMPTY)
    stops = [finding for finding in hindrances if finding.slug not in said_by_the_list]
    return {
        "bench": shown,
        "version": seen or shown.version.number,
        "hindrances": hindrances,
        "findings": [*version_facts(row, shown.version, seen), *stops, *shown.remarks],
    }


def _hand(row: Tray, code: str, person: Person) -> dict[str, Any]:
    """The piece that the person has in hand, and what can be done with it."""
    piece = Piece.objects.select_related("part").filter(code=code).first() if code else None
    return {"hand": piece, "offers": bench_offers(piece, row, person.rights) if piece else ()}
