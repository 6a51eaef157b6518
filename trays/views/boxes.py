"""Quarantine boxes: the list, the page of one, what is done with it, its label."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from instruments import actions
from instruments.box_states import BOX_MOVES, HELD, BoxState
from instruments.identity import mark_key
from instruments.models import Mark, QuarantineBox
from journal.actions import Act, Done
from journal.doors import act_of, perform, person_of, signed_act
from journal.models import Place
from journal.moves import why_not
from trays.actions import put_pack_in_box
from trays.models import Pack
from trays.paper import box_label
from trays.views.packs import pdf

MOST_DECIDED = 50


class Verb(NamedTuple):
    """A step of a box as its page offers it; a decision is signed and says why."""

    label: str
    icon: str
    why: str
    run: Callable[..., Done]


VERBS: dict[str, Verb] = {
    "seal": Verb("Seal box", "lock", "", actions.seal_box),
    "rule-out": Verb("Ruled out: return all", "undo-2", "Diagnosis, and who made it", actions.rule_out_box),
    "destroy": Verb("Destroy all", "octagon-x", "Confirmed or unresolved, and who decides", actions.destroy_box),
}


@require_http_methods(["GET", "HEAD", "POST"])
def boxes(request: HttpRequest) -> HttpResponse:
    """Boxes that are held and those decided on; a new one for a case."""
    if request.method == "POST":
        said = {name: request.POST.get(name, "") for name in ("reference", "ground", "place")}
        return perform(
            request,
            lambda: actions.open_box(**said, act=act_of(request)),
            to=lambda done: reverse("box", args=[done.mark]),
        )
    rows = QuarantineBox.objects.select_related("place", "opened_by", "decided_by")
    context = {
        "held": rows.held(),
        "decided": rows.exclude(state__in=list(HELD))[:MOST_DECIDED],
        "places": Place.objects.all(),
        "reference": request.GET.get("reference", ""),
    }
    return render(request, "trays/boxes.html", context)


@require_safe
def box(request: HttpRequest, code: str) -> HttpResponse:
    """One box: what is in it, what can be done, its trail."""
    row = get_object_or_404(QuarantineBox.objects.select_related("place", "opened_by", "decided_by"), code=code)
    context = {
        "box": row,
        "boxed": row.boxed.select_related("piece__part"),
        "filling": row.state == BoxState.OPEN,
        "offers": [_offer(row, name, verb, request) for name, verb in VERBS.items()],
        "lines": row.lines.select_related("person").order_by("-id"),
    }
    return render(request, "trays/box.html", context)


def _offer(row: QuarantineBox, name: str, verb: Verb, request: HttpRequest) -> dict[str, Any]:
    move = BOX_MOVES[name.replace("-", "_")]
    return {
        "verb": verb,
        "name": name,
        "now": row.state in move.origins,
        "why_not": why_not(move, subject=row.code, state=row.state, rights=person_of(request).rights),
    }


@require_POST
def box_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Put something in, seal, or decide; afterwards its page."""
    row = get_object_or_404(QuarantineBox, code=code)
    if verb != "put" and verb not in VERBS:
        raise Http404

    def run() -> Done:
        if verb == "put":
            return _put(row.code, request.POST.get("thing", ""), act_of(request))
        chosen = VERBS[verb]
        if not chosen.why:
            return chosen.run(row.code, act=act_of(request))
        return chosen.run(row.code, reason=request.POST.get("reason", ""), act=signed_act(request))

    return perform(request, run, to=reverse("box", args=[row.code]))


def _put(box: str, mark: str, act: Act) -> Done:
    """What a mark stands for: a pack, the last pack of a tray, or a piece."""
    text = mark.strip().upper()
    packs = Pack.objects.order_by("-id").values_list("code", flat=True)
    pack = packs.filter(code=text).first() or packs.filter(tray__code=text).first()
    if pack is not None:
        return put_pack_in_box(box, pack, act=act)
    piece = Mark.objects.filter(key=mark_key(mark)).values_list("piece__code", flat=True).first()
    return actions.put_in_box(box, piece or text, act=act)


@require_safe
@never_cache
def label(_request: HttpRequest, code: str) -> HttpResponse:
    """The label as PDF, with ruled blanks for what is written by hand."""
    return pdf(box_label(get_object_or_404(QuarantineBox, code=code)), f"Quarantine {code}")
