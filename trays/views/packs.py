"""What is done with a pack from its page, and what is printed for it."""

from __future__ import annotations

from functools import partial
from http import HTTPStatus

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from journal.doors import SEE_OTHER, act_of, perform
from journal.findings import Refused
from trays import actions, paper
from trays.models import Pack, PackLine, Printed, Tray
from trays.reads import label_standing, published_version
from trays.states import Paper
from trays.verbs import pack_action
from trays.views.said import Said, is_swap

FINGERPRINT = 8  # characters of the SHA-256 in a file's name


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
    pack = get_object_or_404(Pack.objects.select_related("tray"), code=code)
    context = {"pack": pack, "label": label_standing(pack), "said": said}
    return render(request, "partials/paper.html", context, status=status)


@require_POST
def print_label(request: HttpRequest, code: str) -> HttpResponse:
    """Print the label, `size` as width × height in mm; after the first it is a copy."""
    return _print(request, code, Paper.LABEL, size=request.POST.get("size", ""))


@require_POST
def print_count_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Print the count sheet; after the first it is a copy."""
    return _print(request, code, Paper.COUNT_SHEET)


@require_GET
@never_cache
def printed(_request: HttpRequest, code: str, sha256: str) -> HttpResponse:
    """A document as it was printed, byte for byte; to look at it again prints nothing."""
    row = get_object_or_404(Printed.objects.select_related("pack"), pack__code=code, sha256=sha256)
    return pdf(bytes(row.document), f"{code} {sha256[:FINGERPRINT]}")


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
    return pdf(paper.check_list(tray, version), f"{tray.code} check list")


def _print(request: HttpRequest, code: str, what: Paper, *, size: str = "") -> HttpResponse:
    """Print, and show what was printed; a refusal is said on the pack's page."""
    try:
        actions.print_paper(code, what, size=size, act=act_of(request))
    except Refused as refused:
        messages.error(request, refused.findings[0].words)
        return HttpResponseRedirect(reverse("pack", args=[code]), status=SEE_OTHER)
    line = PackLine.objects.filter(pack__code=code, verb=what.verb).latest("id")
    return HttpResponseRedirect(reverse("pack-printed", args=[code, line.evidence["sha256"]]), status=SEE_OTHER)


def pdf(document: bytes, name: str) -> HttpResponse:
    """A document shown in the browser's reader."""
    disposition = f'inline; filename="{name}.pdf"'
    return HttpResponse(document, content_type="application/pdf", headers={"Content-Disposition": disposition})
