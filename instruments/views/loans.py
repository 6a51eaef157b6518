"""Loans: all of them, one of them, and its verbs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from instruments import actions
from instruments.forms import ExtendForm, LoanForm, LoanPieceForm, LoanScanForm, PapersForm
from instruments.loans import Direction, Outcome
from instruments.models import Loan
from instruments.reads import loans_with_counts, members_of, piece_by_mark
from instruments.states import LoanState
from instruments.verbs import loan_door, loan_offers
from journal.actions import Act, Done
from journal.doors import act_of, back_with, perform, person_of

IN, OUT = Direction.IN, Direction.OUT


def _receive_again(piece: str, loan: str, condition: str, act: Act) -> Done:
    return actions.receive_again(loan, piece, condition=condition, act=act)


def _lend(piece: str, loan: str, condition: str, act: Act) -> Done:
    return actions.lend(piece, loan, condition=condition, act=act)


SCANS: dict[tuple[str, str], tuple[str, Callable[[str, str, str, Act], Done]]] = {
    (IN, LoanState.AGREED): ("A piece that was here before arrives", _receive_again),
    (OUT, LoanState.AGREED): ("A piece leaves", _lend),
    (IN, LoanState.ON_LOAN): ("A piece goes back", lambda piece, _, __, act: actions.give_back(piece, act=act)),
    (IN, LoanState.CLOSED): ("A piece goes back late", lambda piece, _, __, act: actions.give_back(piece, act=act)),
    (OUT, LoanState.ON_LOAN): ("A piece is back", lambda piece, _, __, act: actions.take_from_loan(piece, act=act)),
}
"""What a scan on a loan's page does, by the loan's way and state."""


@require_safe
def loans(request: HttpRequest) -> HttpResponse:
    """Every loan, the one due first on top; what has ended stands below."""
    rows = list(loans_with_counts(timezone.localdate()))
    context = {
        "still_open": [row for row in rows if row.loan.state in (LoanState.AGREED, LoanState.ON_LOAN)],
        "ended": [row for row in rows if row.loan.state in (LoanState.CLOSED, LoanState.CANCELLED)][::-1],
    }
    return render(request, "instruments/loans.html", context)


def agree(request: HttpRequest) -> HttpResponse:
    """The form for a loan, and its entry."""
    form = LoanForm(request.POST or None)
    if not form.is_valid():
        return render(request, "instruments/agree_loan.html", {"form": form}, status=422 if form.is_bound else 200)
    return perform(request, lambda: actions.agree_loan(**form.cleaned_data, act=act_of(request)), to=_page)


def _page(done: Done) -> str:
    return reverse("loan", args=[done.mark])


@require_safe
def loan(request: HttpRequest, code: str) -> HttpResponse:
    """One loan: its papers, its count, its pieces, and what can be done."""
    row = get_object_or_404(Loan, code=code)
    members = members_of(row)
    way, state = Direction(row.direction), LoanState(row.state)
    scan = SCANS.get((way, state))
    context = {
        "loan": row,
        "members": members,
        "outcomes": {str(one): sum(member.fact.outcome is one for member in members) for one in Outcome},
        "due": next(iter(loans_with_counts(timezone.localdate(), code=code))).findings,
        "offers": loan_offers(row, person_of(request).rights),
        "scan": scan[0] if scan else "",
        "asks_condition": state is LoanState.AGREED,
        "receive_form": LoanPieceForm() if (way, state) == (IN, LoanState.AGREED) else None,
        "papers_form": PapersForm(),
        "extend_form": ExtendForm(auto_id="extend-%s"),
        "running": state in (LoanState.AGREED, LoanState.ON_LOAN),
        "lines": row.lines.select_related("person", "station").order_by("-id"),
    }
    return render(request, "instruments/loan.html", context)


@require_POST
def scan(request: HttpRequest, code: str) -> HttpResponse:
    """A mark is scanned: its piece arrives, leaves, or comes back, by the loan's way and state."""
    row, form, to = get_object_or_404(Loan, code=code), LoanScanForm(request.POST), reverse("loan", args=[code])
    found = SCANS.get((row.direction, row.state))
    if found is None or not form.is_valid():
        return back_with(request, form, to=to)

    def run() -> Done:
        piece, _ = piece_by_mark(form.cleaned_data["mark"])
        return found[1](piece.code, code, form.cleaned_data["condition"], act_of(request))

    return perform(request, run, to=to)


@require_POST
def receive(request: HttpRequest, code: str) -> HttpResponse:
    """A borrowed piece arrives for the first time."""

    def run(part: Any, **given: Any) -> Done:
        return actions.receive_loan_piece(code, part.code, **given, act=act_of(request))

    return _filled(request, code, LoanPieceForm(request.POST), run)


@require_POST
def papers(request: HttpRequest, code: str) -> HttpResponse:
    """Papers are filed."""
    form = PapersForm(request.POST)
    return _filled(request, code, form, lambda **given: actions.file_loan_papers(code, **given, act=act_of(request)))


@require_POST
def extend(request: HttpRequest, code: str) -> HttpResponse:
    """Another last day is agreed."""
    form = ExtendForm(request.POST)
    return _filled(request, code, form, lambda **given: actions.extend_loan(code, **given, act=act_of(request)))


def _filled(request: HttpRequest, code: str, form: forms.Form, run: Callable[..., Done]) -> HttpResponse:
    """Perform with what a form of the loan's page holds, or say there what is wrong with it."""
    to = reverse("loan", args=[code])
    if not form.is_valid():
        return back_with(request, form, to=to)
    return perform(request, lambda: run(**form.cleaned_data), to=to)


@require_POST
def loan_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do what the loan's page offers."""
    door = loan_door(verb)
    if door is None:
        raise Http404
    given = {"reason": request.POST.get("reason", "")} if door.verb.asks else {}
    return perform(request, lambda: door.run(code, **given, act=act_of(request)), to=reverse("loan", args=[code]))
