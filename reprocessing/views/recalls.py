"""The list of recalls, the page of one with its work list, its verbs, and its report."""

from __future__ import annotations

import csv
from typing import Any

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from instruments.identity import mark_key
from instruments.models import Mark
from journal.actions import Act, Done
from journal.doors import act_of, perform, person_of
from journal.tables import plain_cell
from reprocessing import actions, forms
from reprocessing.models import Machine, Recall
from reprocessing.paper import recall_report
from reprocessing.reads import trail_of
from reprocessing.reads.recalls import (
    items_of,
    loads_drafted,
    loads_of,
    policy_of,
    preview,
    scope_by_indicators,
    tallies,
    whole,
)
from reprocessing.recall_states import RECALL_MOVES, RecallState
from reprocessing.states import MachineKind
from reprocessing.views.offers import offer_of
from reprocessing.views.verbs import Verb, carry_out
from trays.models import Pack


def _settle(recall: str, *, thing: str, outcome: str, note: str, act: Act) -> Done:
    return actions.settle_recalled(recall, _scanned(recall, thing), outcome=outcome, note=note, act=act)


def _scanned(recall: str, mark: str) -> str:
    """The thing of a recall that a mark stands for: itself, the piece that it marks, or the pack of a tray."""
    text = mark.strip().upper()
    pack = Pack.objects.filter(recall_items__recall__code=recall, tray__code=text).values_list("code", flat=True)
    piece = Mark.objects.filter(key=mark_key(mark)).values_list("piece__code", flat=True)
    return pack.first() or piece.first() or text


M = RECALL_MOVES

VERBS: dict[str, Verb] = {
    verb.name: verb
    for verb in (
        Verb("issue", "Issue recall", "triangle-alert", forms.Signed, actions.issue_recall, M["issue"], signed=True),
        Verb("drop", "Drop draft", "x", forms.Why, actions.drop_recall, M["drop"]),
        Verb("settle", "Settle", "check", forms.Settle, _settle, None),
        Verb(
            "propose",
            "Propose closure",
            "signature",
            forms.Signed,
            actions.propose_closure,
            M["propose_closure"],
            signed=True,
        ),
        Verb("keep_open", "Keep open", "undo-2", forms.Why, actions.keep_recall_open, M["keep_open"]),
        Verb("close", "Close recall", "shield-check", forms.Closing, actions.close_recall, M["close"], signed=True),
    )
}


@require_safe
def recalls(request: HttpRequest) -> HttpResponse:
    """Recalls under way and those that have ended; and what the indicators of a machine ask for."""
    rows = Recall.objects.annotate(
        load_count=Count("recall_loads", distinct=True), item_count=Count("items", distinct=True)
    )
    context = {
        "under_way": rows.under_way(),
        "ended": rows.exclude(pk__in=Recall.objects.under_way().values("pk"))[:50],
        "machines": [
            {"machine": machine, "policy": policy_of(machine)}
            for machine in Machine.objects.exclude(kind=MachineKind.WASHER)
        ],
        "form": forms.DraftRecall(),
    }
    return render(request, "reprocessing/recalls.html", context)


@require_POST
def draft(request: HttpRequest) -> HttpResponse:
    """Draft a recall of the loads named."""
    return perform(
        request,
        lambda: actions.draft_recall(**forms.filled(forms.DraftRecall(request.POST)), act=act_of(request)),
        to=lambda done: reverse("recall", args=[done.mark]),
    )


@require_POST
def draft_of_machine(request: HttpRequest, code: str) -> HttpResponse:
    """Draft, or draw up anew, what the indicators of a machine ask for."""
    return perform(
        request,
        lambda: actions.draft_by_indicators(code, act=act_of(request)),
        to=lambda done: reverse("recall", args=[done.mark]),
    )


@require_safe
def recall(request: HttpRequest, code: str) -> HttpResponse:
    """One recall: its loads with the reason of each, its scope or its work list, what can be done, its trail."""
    row = get_object_or_404(
        Recall.objects.select_related("machine", "issued_by", "proposed_by", "closed_by"), code=code
    )
    items = list(items_of(row))
    by = person_of(request)
    context: dict[str, Any] = {
        "recall": row,
        "loads": loads_of(row),
        "preview": preview(row) if row.state == RecallState.DRAFT else None,
        "tallies": tallies(items),
        "whole": whole(items),
        "offers": [offer_of(verb, row, by, url_name="recall-verb") for verb in VERBS.values() if verb.rule],
        "searching": row.state == RecallState.ISSUED,
        "lines": trail_of(row),
        **_by_indicators(row),
    }
    return render(request, "reprocessing/recall.html", context)


def _by_indicators(row: Recall) -> dict[str, Any]:
    """What the machine's indicators ask for beside the recall, and whether a draft has fallen behind them."""
    if row.machine is None:
        return {}
    scope = scope_by_indicators(row.machine)
    named = set(row.recall_loads.values_list("load", flat=True))
    now = set(loads_drafted(row.machine, scope).values_list("pk", flat=True))
    return {"scope": scope, "stale": row.state == RecallState.DRAFT and now != named}


@require_POST
def recall_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """A verb on a recall; afterwards its page."""
    row = get_object_or_404(Recall, code=code)
    return carry_out(request, VERBS, verb, row.code, to=reverse("recall", args=[row.code]))


@require_safe
def recall_csv(request: HttpRequest, code: str) -> HttpResponse:
    """The work list as a table, with who asked for it and when."""
    row = get_object_or_404(Recall, code=code)
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="recall-{row.code}.csv"'
    out = csv.writer(answer)
    printed = f"{timezone.localtime():%Y-%m-%d %H:%M %Z}"
    out.writerow(["Recall", row.code, "State", row.state, "Printed", printed, "By", plain_cell(str(request.user))])
    out.writerow(["Place", "Code", "Name", "Load", "State then", "Outcome", "Settled", "By", "Note"])
    for tally in tallies(items_of(row)):
        for item in tally.items:
            settled = f"{timezone.localtime(item.settled_at):%Y-%m-%d %H:%M %Z}" if item.settled_at else ""
            cells = [tally.place, item.thing.code, item.name, item.load.code, item.state_then, item.outcome, settled]
            out.writerow([plain_cell(str(cell)) for cell in [*cells, item.settled_by or "", item.note]])
    return answer


@require_safe
@never_cache
def recall_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """The report of a recall as PDF: who asked for it, when, and what became of everything."""
    row = get_object_or_404(
        Recall.objects.select_related("machine", "issued_by", "proposed_by", "closed_by"), code=code
    )
    document = recall_report(row, by=person_of(request), at=timezone.now())
    headers = {"Content-Disposition": f'inline; filename="Recall {row.code}.pdf"'}
    return HttpResponse(document, content_type="application/pdf", headers=headers)
