"""Records that came by themselves and wait for their load, and the page that says how a machine's log is read."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from journal.doors import act_of, perform
from reprocessing import actions
from reprocessing.columns import first_rows
from reprocessing.forms import ColumnsForm, DeviceNumber, MatchRecord, SetRecordAside, filled
from reprocessing.models import Arrival, ArrivalState, Machine, MachineColumns, Trace
from reprocessing.reads import loads_of_record
from reprocessing.reads.devices import fault_of
from reprocessing.states import DAY_TESTS, MachineKind, TestKind

MOST_ROWS = 20
"""Records that wait, and as many that were decided, on a page; the oldest that wait come first."""


@require_safe
def records(request: HttpRequest) -> HttpResponse:
    """What came by itself: what waits for its load, and what became of the rest."""
    waiting = Arrival.objects.waiting().select_related("machine")
    context = {
        "count": waiting.count(),
        "waiting": [_offer(arrival) for arrival in waiting[:MOST_ROWS]],
        "decided": Arrival.objects.exclude(state=ArrivalState.WAITING)
        .defer("content")
        .select_related("load", "machine", "decided_by")
        .order_by("-decided_at")[:MOST_ROWS],
    }
    return render(request, "reprocessing/records.html", context)


def _offer(arrival: Arrival) -> dict[str, Any]:
    loads, fitting = loads_of_record(arrival)
    return {
        "record": arrival,
        "fault": fault_of(arrival),
        "leaks": arrival.machine is not None and TestKind.AIR_LEAKAGE in DAY_TESTS[MachineKind(arrival.machine.kind)],
        "fitting": fitting,
        "match": MatchRecord(loads=loads, auto_id=f"match_{arrival.pk}_%s"),
        "aside": SetRecordAside(auto_id=f"aside_{arrival.pk}_%s"),
    }


@require_POST
def match(request: HttpRequest, record: int) -> HttpResponse:
    """Attach a record to the load that a person has chosen; afterwards that load's page."""
    arrival = get_object_or_404(Arrival, pk=record)
    loads, _ = loads_of_record(arrival)
    return perform(
        request,
        lambda: actions.match_record(record, **filled(MatchRecord(request.POST, loads=loads)), act=act_of(request)),
        to=lambda done: reverse("load", args=[done.mark]),
    )


@require_POST
def set_aside(request: HttpRequest, record: int) -> HttpResponse:
    """Say why a record belongs to no load."""
    return perform(
        request,
        lambda: actions.set_record_aside(record, **filled(SetRecordAside(request.POST)), act=act_of(request)),
        to=reverse("records"),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def columns(request: HttpRequest, code: str) -> HttpResponse:
    """Say what each column of a machine's log holds, with its first rows beside the question."""
    machine = get_object_or_404(Machine, code=code)
    known = MachineColumns.objects.filter(machine=machine).first()
    asked = request.POST.get("header_line") or request.GET.get("header_line", "")
    header_line = int(asked) if asked.isascii() and asked.isdigit() else known.header_line if known else 1
    name, content = _sample(machine)
    names, *rows = first_rows(content, header_line=header_line) or [[]]
    held = known.held if known else {}
    if request.method == "POST":
        form = ColumnsForm(request.POST, names=names, held=held)
        return perform(
            request,
            lambda: actions.set_columns(code, **filled(form), act=act_of(request)),
            to=reverse("machine", args=[code]),
        )
    initial = {"header_line": header_line, "ambient_mbar": known.ambient_mbar if known else None}
    context = {
        "machine": machine,
        "known": known,
        "file_name": name,
        "header_line": header_line,
        "names": names,
        "rows": rows,
        "form": ColumnsForm(names=names, held=held, initial=initial),
        "device": DeviceNumber(initial={"number": machine.device_number}, auto_id="device_%s"),
    }
    return render(request, "reprocessing/columns.html", context)


@require_POST
def device_number(request: HttpRequest, code: str) -> HttpResponse:
    """Say by which number a machine names itself in its messages."""
    return perform(
        request,
        lambda: actions.set_device_number(code, **filled(DeviceNumber(request.POST)), act=act_of(request)),
        to=reverse("machine-columns", args=[code]),
    )


def _sample(machine: Machine) -> tuple[str, str]:
    """Name and text of the latest record that this machine left; both empty when there is none."""
    tables = Arrival.objects.filter(machine=machine, fault="", control_id="")
    record = tables.first() or Trace.objects.filter(load__machine=machine).first()
    return (record.file_name, record.content) if record else ("", "")
