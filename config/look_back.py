"""Look back and look forward from any mark: the page, and the same as a table."""

from __future__ import annotations

import csv
from datetime import datetime, time, timedelta
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from config.context import address
from config.station.resolve import Thing, resolve
from instruments.identity import Kind
from journal.findings import Finding, Refused
from journal.tables import plain_cell
from lists.lineage import Node, Sort
from lists.reads.tracing import Trace, loads_of, of_lot, packs_of_tray, trace

MOST_ROWS = 400
"""Of each kind on either side of the page; the table has all."""
ANY = "any"
SORTS = {Kind.PIECE: Sort.PIECE, Kind.PACK: Sort.PACK, Kind.LOAD: Sort.LOAD, Kind.CASE: Sort.CASE}
TURNS = [("0", "None"), ("1", "1"), ("2", "2"), (ANY, "Any number")]
TURNS_HELP = "Through so many cases the way goes on to everything else that was used there."


class LookBack(forms.Form):
    """Where to begin, and how far to go."""

    q = forms.CharField(max_length=300, label="Scan or type a mark, a case, a lot or a machine")
    turns = forms.ChoiceField(choices=TURNS, required=False, label="Further cases", help_text=TURNS_HELP)
    since = forms.DateField(
        required=False, label="Machine: from", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    until = forms.DateField(
        required=False, label="Machine: to", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def ask(self) -> dict[str, Any]:
        """What is asked, with the days as stretches of time."""
        said = self.cleaned_data
        since, until = said["since"], said["until"]
        return {
            "turns": None if said["turns"] == ANY else int(said["turns"] or 0),
            "since": _midnight(since) if since else None,
            "until": _midnight(until + timedelta(days=1)) if until else None,
        }


def _midnight(day: Any) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))


def _starts(text: str, since: datetime | None, until: datetime | None) -> tuple[str, set[Node], Finding | None]:
    """What a text stands for in words, the things to begin with, and why there are none."""
    lot = of_lot(text.strip())
    try:
        thing = resolve(text)
    except Refused as refusal:
        return f"Lot {text.strip()}", lot, None if lot else refusal.findings[0]
    kind = thing.kind.word.capitalize()
    return thing.words if thing.name == kind else f"{kind} {thing.words}", _nodes(thing, since, until) or lot, None


def _nodes(thing: Thing, since: datetime | None, until: datetime | None) -> set[Node]:
    if thing.kind in SORTS:
        return {Node(SORTS[thing.kind], thing.row.pk)}
    if thing.kind is Kind.MACHINE:
        return loads_of(thing.row.pk, since, until)
    return packs_of_tray(thing.row.pk) if thing.kind is Kind.TRAY else set()


def _asked(request: HttpRequest) -> dict[str, Any]:
    form = LookBack(request.GET if request.GET.get("q") else None)
    if not form.is_valid():
        return {"form": form}
    ask = form.ask()
    words, starts, finding = _starts(form.cleaned_data["q"], ask["since"], ask["until"])
    if finding is not None or not starts:
        return {"form": form, "words": words, "finding": finding, "nothing": finding is None}
    sides = [
        ("Came from", trace(starts, forward=False, turns=ask["turns"])),
        ("Went to", trace(starts, forward=True, turns=ask["turns"])),
    ]
    return {"form": form, "words": words, "starts": len(starts), "sides": sides}


@require_safe
def look_back(request: HttpRequest) -> HttpResponse:
    """Where a thing came from and where it went: counts first, then each side as a list in order of time."""
    context = _asked(request)
    context["lists"] = [(title, side, _rows(side)) for title, side in context.get("sides", ())]
    return render(request, "look_back.html", {**context, "most": MOST_ROWS, "query": request.GET.urlencode()})


def _rows(side: Trace) -> list[tuple[str, list[tuple[Any, str]]]]:
    """Cases, packs, loads and pieces, each in order of time, with the addresses of their pages."""
    groups = []
    for sort in (Sort.CASE, Sort.PACK, Sort.LOAD, Sort.PIECE):
        things = [row for row in side.reached if row.sort is sort][:MOST_ROWS]
        if things:
            groups.append((str(sort), [(row, address(str(sort), row.code)) for row in things]))
    return groups


@require_safe
def look_back_csv(request: HttpRequest) -> HttpResponse:
    """The same as a table, with the question, who asked it and when."""
    context = _asked(request)
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="look-back.csv"'
    out = csv.writer(answer)
    asked = {name: request.GET.get(name, "") for name in ("q", "turns", "since", "until")}
    question = "; ".join(f"{name}={value}" for name, value in asked.items() if value)
    head = ["Question", question, "Printed", f"{timezone.localtime():%Y-%m-%d %H:%M %Z}", "By", str(request.user)]
    out.writerow([plain_cell(cell) for cell in head])
    out.writerow(["Side", "Kind", "Code", "Name", "State", "When", "Further cases", "Through"])
    for title, side in context.get("sides", ()):
        for row in side.reached:
            at = f"{timezone.localtime(row.at):%Y-%m-%d %H:%M %Z}" if row.at else ""
            cells = [title, row.sort, row.code, row.name, row.state, at, row.turn, row.through]
            out.writerow([plain_cell(str(cell)) for cell in cells])
    return answer
