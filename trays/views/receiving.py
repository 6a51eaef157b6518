"""Maker-sterile items into stock."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from journal.doors import act_of, perform, station_of
from journal.findings import Refused, Severity
from trays import actions
from trays.forms import MakerPackForm
from trays.reads import MakersMark, makers_mark
from trays.views.said import Said, is_swap


def receive(request: HttpRequest) -> HttpResponse:
    """The form for a maker's pack, and its entry."""
    form = MakerPackForm(request.POST or None)
    if not form.is_valid():
        status = HTTPStatus.UNPROCESSABLE_ENTITY if form.is_bound else HTTPStatus.OK
        return _shown(request, form, status=status)
    loan = form.cleaned_data["loan"]
    given = form.cleaned_data | {"part": form.cleaned_data["part"].code, "loan": loan.code if loan else ""}
    try:
        done = actions.receive_maker_pack(**given, act=act_of(request))
    except Refused as refused:
        return _shown(request, form, said=Said.why_not(refused), status=HTTPStatus.CONFLICT)
    return perform(request, lambda: done, to=reverse("receive"))


@require_POST
def read_mark(request: HttpRequest) -> HttpResponse:
    """Fill the form with what a scanned mark says; what was typed and is not on the mark stays."""
    mark = makers_mark(request.POST.get("code", ""), station=station_of(request), at=timezone.now())
    typed = {name: request.POST[name] for name in MakerPackForm.base_fields if name in request.POST}
    form = MakerPackForm(initial=typed | mark.fields)
    status = HTTPStatus.OK if mark.fields else HTTPStatus.CONFLICT
    return _shown(request, form, said=_said(mark), status=status)


def _said(mark: MakersMark) -> Said:
    """The answer to a scan, as everywhere."""
    if not mark.fields:
        first, *others = mark.findings
        return Said(Severity.STOP, first.sentence, first.remedy, tuple(finding.words for finding in others))
    result = "look" if mark.findings else "taken"
    step = "" if mark.findings else "Look at the barrier, then receive it."
    return Said(result, mark.sentence, step, tuple(finding.words for finding in mark.findings))


def _shown(
    request: HttpRequest, form: MakerPackForm, *, said: Said | None = None, status: int = HTTPStatus.OK
) -> HttpResponse:
    template = "trays/receive.html#region" if is_swap(request) else "trays/receive.html"
    return render(request, template, {"form": form, "said": said}, status=status)
