"""The assembly bench: one tray, its list, what is still open, and the field that takes every mark."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from http import HTTPStatus
from typing import Any

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from instruments.commands import BY_CARD, Command, command_of
from instruments.identity import Kind, decode
from instruments.models import Piece
from instruments.reads import code_by_mark, scanner_doubt
from journal.actions import Act, Done
from journal.doors import SEE_OTHER, act_of, perform, person_of, station_of
from journal.findings import Finding, Refused, Severity, stop
from journal.models import Person
from journal.roles import Right
from trays import actions
from trays.actions.assembly import TRAY_EMPTY, whoever_signs
from trays.matching import MISSING_LINE
from trays.models import Pack, Placement, Tray
from trays.reads import (
    Bench,
    bench_of,
    changed_rows,
    label_standing,
    live_pack,
    tray_by_mark,
    tray_standings,
    version_facts,
)
from trays.verbs import FAULTS, bench_offers, no_right
from trays.views.said import Said, is_swap

TAKE_BACK = timedelta(minutes=2)  # so long a scan can be taken back with the card; our proposal
SAID_BY_ROWS = (MISSING_LINE, TRAY_EMPTY)


@require_safe
def trays(request: HttpRequest) -> HttpResponse:
    """Every tray and where it stands."""
    return render(request, "trays/trays.html", {"standings": tray_standings(at=timezone.now())})


@require_safe
def tray(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001 - every view takes it
    """A tray's mark leads to its pack while one is live, else to its bench."""
    row = _tray(code)
    pack = live_pack(row)
    return redirect("pack", pack.code) if pack else redirect("tray-bench", row.code)


@require_safe
def bench(request: HttpRequest, code: str) -> HttpResponse:
    """The bench of a tray; `?piece=` takes one of its pieces in hand."""
    template = "trays/bench.html#region" if is_swap(request) else "trays/bench.html"
    return render(request, template, _shown(request, _tray(code), in_hand=request.GET.get("piece", "")))


@require_POST
def put(request: HttpRequest, code: str) -> HttpResponse:
    """Take a mark: lay its piece on the tray, or do what a command card says.

    A badge names the second person, another tray takes this one's place.
    """
    row, text = _tray(code), request.POST.get("code", "")
    decoded = decode(text)
    badge = decoded.key.removeprefix("text:")
    if command := command_of(text):
        return _command(request, row, command)
    kind = decoded.identifiers.get("kind")
    if kind == Kind.TRAY.word:
        return _answer(request, row, lambda: _other(text))
    if kind != Kind.PIECE.word and is_swap(request):
        second = Person.objects.filter(badge=badge, is_active=True).first()
        if second is not None:
            return _answer(request, row, lambda: _signs(second), second=badge)
    return _answer(request, row, lambda: _lay(text, row, act_of(request)))


def _command(request: HttpRequest, row: Tray, command: Command) -> HttpResponse:
    """Do what a command card says: to the tray, to the piece in hand, or to what was laid last."""
    if command is Command.FINISH:
        return finish(request, row.code)
    if command is Command.HELP:
        return _go(request, f"{reverse('help')}#assemble")
    if command is Command.NEXT_PERSON:
        logout(request)
        return _go(request, f"{reverse('sign-in')}?next={reverse('tray-bench', args=[row.code])}")
    act = act_of(request)
    if command is Command.UNDO_LAST:
        return _answer(request, row, lambda: actions.take_off_tray(_laid_last(row, act), tray=row.code, act=act))
    hand = request.POST.get("hand", "")
    return _answer(request, row, lambda: _aside(hand, row, act))


def _go(request: HttpRequest, to: str) -> HttpResponse:
    return HttpResponseClientRedirect(to) if is_swap(request) else HttpResponseRedirect(to, status=SEE_OTHER)


def _laid_last(row: Tray, act: Act) -> str:
    """The piece that this person laid on the tray just now.

    Raises:
        Refused: none within the time in which a scan can be taken back.
    """
    last = Placement.objects.filter(tray=row, by=act.by, at__gte=act.at - TAKE_BACK).select_related("piece").first()
    if last is None:
        sentence = f"Cannot undo: you laid nothing on {row.name} in the last 2 minutes."
        raise Refused(stop("nothing-to-undo", row.code, sentence, "Scan the piece once more, and take it off."))
    return str(last.piece.code)


def _aside(piece: str, row: Tray, act: Act) -> Done:
    if not piece:
        sentence = "Cannot set aside: no piece is in hand, one must be."
        remedy = "Scan the piece on the tray once more, then the card."
        raise Refused(stop("nothing-held", row.code, sentence, remedy))
    return actions.set_aside(piece, reason=BY_CARD, tray=row.code, act=act)


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
    return _answer(request, row, run)


def _tray(code: str) -> Tray:
    return get_object_or_404(Tray.objects.select_related("template", "home"), code=code)


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch("[0-9]{1,5}", text) else None


def _lay(text: str, on: Tray, act: Act) -> Done:
    """Lay the piece of a mark on a tray; one that lies there already is asked about instead."""
    if act.station is not None and (doubt := scanner_doubt(text, act.station, act.at)):
        raise Refused(doubt)
    piece, looks = code_by_mark(text)
    try:
        done = actions.put_on_tray(piece, on.code, act=act)
    except Refused:
        lying = Placement.objects.filter(piece__code=piece, tray=on).select_related("piece__part").first()
        if lying is None:
            raise
        sentence = f"{lying.piece.part.name} {piece} lies on this tray already."
        remedy = "Leave it, or choose below what to do with it."
        raise Refused(Finding("on-this-tray", Severity.LOOK, piece, sentence, remedy)) from None
    return replace(done, findings=(*(look.as_dict() for look in looks), *done.findings))


def _other(text: str) -> Done:
    """A tray that is scanned at the bench of another takes its place."""
    other = tray_by_mark(text)
    return Done("bench", "tray", other.pk, other.code, "", f"{other.name} is on the bench.")


def _signs(person: Person) -> Done:
    """The person who signs with the one at work; finishing asks whether they may."""
    sentence = f"Second person: {person}."
    return Done("second", "badge", person.pk, str(person.badge), "", sentence, "State the reason, then finish.")


def _answer(request: HttpRequest, row: Tray, run: Callable[[], Done], *, second: str = "") -> HttpResponse:
    """Run an action and show the bench anew, or go on to the page of what came of it."""
    if not is_swap(request):
        return perform(request, run, to=lambda done: _next(done, row))
    try:
        done = run()
    except Refused as refused:
        context = _shown(request, row, said=Said.why_not(refused), in_hand=refused.findings[0].subject)
        return render(request, "trays/bench.html#region", context, status=HTTPStatus.CONFLICT)
    if done.kind in ("pack", "tray"):
        perform(request, lambda: done, to="")  # what was done is said on the page where the work goes on
        return HttpResponseClientRedirect(_next(done, row))
    in_hand = done.mark if done.verb in ("take_off_tray", "join_closed_set") else ""
    context = _shown(request, row, said=Said.of(done), in_hand=in_hand, second=second)
    if done.verb == "set_aside" and "bench" in context:
        context["said"] = replace(context["said"], next_step=_instead(context["bench"], done.mark))
    return render(request, "trays/bench.html#region", context)


def _next(done: Done, row: Tray) -> str:
    """Where the work goes on: at the pack that was made, at the tray that was scanned, or here."""
    if done.kind == "pack":
        return reverse("pack", args=[done.mark])
    return reverse("tray-bench", args=[done.mark if done.kind == "tray" else row.code])


def _instead(shown: Bench, code: str) -> str:
    """What lacks now that a piece was set aside, and where the nearest in its place is."""
    part = Piece.objects.values_list("part__code", flat=True).get(code=code)
    row = next((row for row in shown.still_open if part in row.line.ranks), None)
    return f"Lacks now: {row.lacking} × {row.line.part_name}. {row.where}" if row else "No line lacks it."


def _shown(
    request: HttpRequest,
    row: Tray,
    *,
    said: Said | None = None,
    in_hand: str = "",
    second: str = "",
) -> dict[str, Any]:
    """What the bench shows; what was typed for finishing stays typed."""
    given, person, at = request.POST or request.GET, person_of(request), timezone.now()
    pack = live_pack(row)
    context: dict[str, Any] = {
        "tray": row,
        "pack": pack,
        "key": uuid.uuid4(),
        "said": said,
        "station": partial(station_of, request),
        "lacks": no_right({Right.ASSEMBLE}, person.rights),
        "incomplete_reason": given.get("incomplete_reason", ""),
        "second": second or given.get("second", ""),
    }
    if pack is not None:
        context["label"] = label_standing(pack)
    try:
        shown = bench_of(row, at=at)
    except Refused as refused:
        return {**context, "refused": refused.findings}
    return {
        **context,
        **_judged(row, pack, shown, _number(given.get("version", ""))),
        **_hand(row, in_hand, person),
        "other": shown.by_another(person, at),
    }


def _judged(row: Tray, pack: Pack | None, shown: Bench, seen: int | None) -> dict[str, Any]:
    """The judgement, the version that the person works from, and what forbids finishing.

    What only waits to be laid is in the rows; the findings are what is wrong, and what is worth a look.
    """
    stale = version_facts(row, shown.version, seen)
    hindrances = list(whoever_signs(row, pack, [placement.piece for placement in shown.laid], shown.count))
    wrong = [
        *(finding for finding in hindrances if finding not in shown.count.stops and finding.slug not in SAID_BY_ROWS),
        *shown.waiting.wrong,
    ]
    return {
        "bench": shown,
        "version": seen or shown.version.number,
        "stale": stale,
        "changes": changed_rows(row, shown.version, seen) if stale and seen else (),
        "hindrances": hindrances,
        "tally": _tally(len(wrong) + len(stale), shown.waiting.to_lay),
        "findings": [*wrong, *(remark for remark in shown.remarks if remark.severity is Severity.LOOK)],
        "notes": [remark for remark in shown.remarks if remark.severity is Severity.NOTE],
    }


def _tally(wrong: int, to_lay: int) -> str:
    """What stands against finishing, in figures: exactly what the page lists."""
    return ", ".join(f"{count} {what}" for count, what in ((wrong, "to put right"), (to_lay, "to lay")) if count)


def _hand(row: Tray, code: str, person: Person) -> dict[str, Any]:
    """The piece that the person has in hand, and what can be done with it."""
    piece = Piece.objects.select_related("part").filter(code=code).first() if code else None
    return {"hand": piece, "offers": bench_offers(piece, row, person.rights) if piece else (), "faults": FAULTS}
