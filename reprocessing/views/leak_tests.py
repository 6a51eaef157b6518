"""The air leakage test of a machine from its record: what it shows, and the signature under it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST, require_safe

from journal.actions import Done
from journal.doors import act_of, perform, signed_act
from reprocessing import actions
from reprocessing.forms import HoldFrom, LeakRecord, LeakTest, filled
from reprocessing.judgement import Judgement
from reprocessing.models import Arrival, ArrivalState
from reprocessing.reads.leak_tests import leak_judgement, leak_trace
from reprocessing.trace_picture import trace_svg


@require_POST
def leave(request: HttpRequest, code: str) -> HttpResponse:
    """Take a file of a leakage test in, and go on to what it shows."""

    def run() -> Done:
        return actions.leave_record(code, **filled(LeakRecord(request.POST, request.FILES)), act=act_of(request))

    return perform(request, run, to=lambda done: reverse("leak-test", args=[done.pk]))


@require_safe
def leak_test(request: HttpRequest, record: int) -> HttpResponse:
    """What a record shows of a leakage test, and the form that signs it."""
    arrival = get_object_or_404(Arrival.objects.select_related("machine"), pk=record, state=ArrivalState.WAITING)
    asked = HoldFrom(request.GET)
    hold_from_s = asked.cleaned_data["hold_from_s"] if asked.is_valid() else None
    context: dict[str, Any] = {
        "record": arrival,
        "asked": asked,
        "form": LeakTest(initial={"hold_from_s": hold_from_s}),
    }
    try:
        judgement = leak_judgement(arrival, hold_from_s=hold_from_s)
    except ValueError as refusal:
        return render(request, "reprocessing/leak_test.html", {**context, "fault": str(refusal)})
    return render(request, "reprocessing/leak_test.html", {**context, **_shown(arrival, judgement)})


def _shown(arrival: Arrival, judgement: Judgement) -> dict[str, Any]:
    title = f"Record of a leakage test of {arrival.machine}"
    picture = trace_svg(leak_trace(arrival), None, title=title, describe=judgement.sentence)
    return {"judgement": judgement, "picture": SafeString(picture)}


@require_POST
def sign(request: HttpRequest, record: int) -> HttpResponse:
    """Record the test, signed; afterwards the machine's page."""

    def run() -> Done:
        said = filled(LeakTest(request.POST))
        return actions.record_leak_test(record, **said, act=signed_act(request))

    return perform(request, run, to=lambda done: reverse("machine", args=[done.mark]))
