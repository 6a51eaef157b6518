"""Non-conformities: the list, one to be raised, and the page of one."""

from __future__ import annotations

from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from journal.doors import act_of, perform, person_of
from journal.models import Person
from reprocessing import actions, forms
from reprocessing.models import Nonconformity
from reprocessing.quality_states import QUALITY_MOVES, QUALITY_STEPS, QualityState, against_closing
from reprocessing.reads import trail_of
from reprocessing.reads.quality import by_number, unraised
from reprocessing.views.offers import Offer, offer_of
from reprocessing.views.verbs import Verb, carry_out

MOST_ROWS = 200
SHOWN = {"open": "Open", "overdue": "Overdue", "closed": "Closed"}


VERBS: dict[str, Verb] = {
    verb.name: verb
    for verb in (
        Verb(
            "action",
            "Add corrective action",
            "plus",
            forms.Corrective,
            actions.add_corrective_action,
            QUALITY_STEPS["add_corrective_action"],
        ),
        Verb(
            "propose",
            "Propose closure",
            "signature",
            forms.Signed,
            actions.propose_quality_closure,
            QUALITY_MOVES["propose_closure"],
            signed=True,
        ),
        Verb(
            "keep_open",
            "Keep open",
            "undo-2",
            forms.Why,
            actions.keep_nonconformity_open,
            QUALITY_MOVES["keep_open"],
        ),
        Verb(
            "close",
            "Close",
            "shield-check",
            forms.Closing,
            actions.close_nonconformity,
            QUALITY_MOVES["close"],
            signed=True,
        ),
    )
}


@require_safe
def quality(request: HttpRequest) -> HttpResponse:
    """Non-conformities: open, overdue or closed; and what happened that none was raised on."""
    chosen = request.GET.get("show", "open")
    at = timezone.now()
    today = timezone.localdate(at)
    rows = {
        "open": Nonconformity.objects.still_open(),
        "overdue": Nonconformity.objects.overdue(today),
        "closed": Nonconformity.objects.filter(state=QualityState.CLOSED),
    }
    if chosen not in rows:
        raise Http404
    counted = (
        rows[chosen]
        .told()
        .annotate(action_count=Count("corrective_actions"), done_count=Count("corrective_actions__done_at"))
    )
    context = {
        "rows": counted[:MOST_ROWS],
        "overdue": set(rows["overdue"].values_list("pk", flat=True)),
        "filters": [(name, label, rows[name].count()) for name, label in SHOWN.items()],
        "chosen": chosen,
        "events": unraised(at),
    }
    return render(request, "reprocessing/quality.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def raise_one(request: HttpRequest) -> HttpResponse:
    """Raise a non-conformity; the address may fill in thing, cause and description."""
    if request.method != "POST":
        form = forms.RaiseNonconformity(initial=request.GET.dict())
        return render(request, "reprocessing/quality_raise.html", {"form": form})
    return perform(
        request,
        lambda: actions.raise_nonconformity(
            **forms.filled(forms.RaiseNonconformity(request.POST)), act=act_of(request)
        ),
        to=lambda done: reverse("nonconformity", args=[done.mark]),
    )


@require_safe
def nonconformity(request: HttpRequest, code: str) -> HttpResponse:
    """One non-conformity: what it is about, what is done about it, what can be done, its trail."""
    row = get_object_or_404(Nonconformity.objects.told(), code=code)
    context = {
        "row": row,
        "today": timezone.localdate(),
        "actions": by_number(row),
        "offers": [_offer(row, verb, person_of(request)) for verb in VERBS.values()],
        "lines": trail_of(row),
    }
    return render(request, "reprocessing/nonconformity.html", context)


def _offer(row: Nonconformity, verb: Verb, by: Person) -> Offer:
    raised, proposed = row.raised_by_id == by.pk, row.proposed_by_id == by.pk
    facts = against_closing(row.code, by, raised=raised, proposed=proposed) if verb.name == "close" else ()
    return offer_of(verb, row, by, url_name="nonconformity-verb", facts=facts)


@require_POST
def nonconformity_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """A verb on a non-conformity; afterwards its page."""
    row = get_object_or_404(Nonconformity, code=code)
    return carry_out(request, VERBS, verb, row.code, to=reverse("nonconformity", args=[row.code]))


@require_POST
def finish(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """A corrective action is done."""
    row = get_object_or_404(Nonconformity, code=code)
    note = request.POST.get("note", "")
    return perform(
        request,
        lambda: actions.finish_corrective_action(row.code, number, note=note, act=act_of(request)),
        to=reverse("nonconformity", args=[row.code]),
    )
