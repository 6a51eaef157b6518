"""What is done with a pack from its page, and what is printed for it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from functools import partial
from http import HTTPStatus

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from journal.doors import act_of, perform
from journal.findings import Refused
from trays import actions, paper
from trays.models import Pack, Tray
from trays.reads import label_standing, published_version
from trays.states import Paper
from trays.verbs import pack_action
from trays.views.said import Said, is_swap


@require_POST
def pack_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do what the pack's page offers."""
    found = pack_action(verb)
    if found is None:
        raise Http404
    offered, run = found
    given = {"reason": request.POST.get("reason", "")} if offered.asks else {}
    return perform(request, lambda: run(code, **given, act=act_of(request)), to=reverse("pack", args=[code]))


@require_POST
def label_read(request: HttpRequest, code: str) -> HttpResponse:
    """The printed label, scanned back at the pack's page: the end of the assembly."""
    run = partial(actions.confirm_label, code, request.POST.get("code", ""), act=act_of(request))
    if not is_swap(request):
        return perform(request, run, to=reverse("pack", args=[code]))
    try:
        said, status = Said.of(run()), HTTPStatus.OK
    except Refused as refused:
        said, status = Said.why_not(refused), HTTPStatus.CONFLICT
    pack = _pack(code)
    context = {"pack": pack, "label": label_standing(pack), "said": said}
    return render(request, "partials/paper.html", context, status=status)


@require_GET
@never_cache
def label(request: HttpRequest, code: str) -> HttpResponse:
    """The label as PDF, `?size=` as width × height in mm; every print is recorded."""
    pack = _pack(code)
    name = request.GET.get("size") or paper.usual_size(pack).name
    if name not in paper.LABEL_SIZES:
        raise Http404
    size = paper.LABEL_SIZES[name]
    return _printed(request, pack, Paper.LABEL, lambda copied_at: paper.label(pack, size, copied_at=copied_at))


@require_GET
@never_cache
def count_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """The count sheet as PDF; every print is recorded."""
    pack = _pack(code)
    return _printed(request, pack, Paper.COUNT_SHEET, lambda copied_at: paper.count_sheet(pack, copied_at=copied_at))


@require_GET
@never_cache
def check_list(request: HttpRequest, code: str) -> HttpResponse:
    """The list of a tray as PDF, with nothing filled in."""
    tray = get_object_or_404(Tray.objects.select_related("template"), code=code)
    try:
        version = published_version(tray.template)
    except Refused as refused:
        messages.error(request, refused.findings[0].words)
        return redirect("tray-bench", tray.code)
    return _pdf(paper.check_list(tray, version), f"{tray.code} check list")


def _pack(code: str) -> Pack:
    rows = Pack.objects.select_related("tray", "version__template", "assembled_by", "incomplete_second")
    return get_object_or_404(rows, code=code)


def _printed(request: HttpRequest, pack: Pack, what: Paper, draw: Callable[[datetime | None], bytes]) -> HttpResponse:
    """Draw a paper, record that it was printed, and hand it over; after the first it says that it is a copy."""
    act = act_of(request)
    copy = pack.lines.filter(verb=what.verb).exists()
    document = draw(act.at if copy else None)
    try:
        actions.print_paper(pack.code, what, sha256=hashlib.sha256(document).hexdigest(), copy=copy, act=act)
    except Refused as refused:
        messages.error(request, refused.findings[0].words)
        return redirect("pack", pack.code)
    return _pdf(document, f"{pack.code} {what}")


def _pdf(document: bytes, name: str) -> HttpResponse:
    disposition = f'inline; filename="{name}.pdf"'
    return HttpResponse(document, content_type="application/pdf", headers={"Content-Disposition": disposition})
