"""The fit explorer: a barrel, what is on it and in it, judged by every rule and drawn to scale."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from instruments.drawings import cross_section
from instruments.fit import WORST_FIRST, Fit, Measure, all_of, worst
from instruments.forms import FitForm
from instruments.gauge import french
from instruments.lumens import Lumen, lumens_of
from instruments.models import Part, PartKind
from instruments.mounting import Mounting
from instruments.reads import Example, examples, fit_limits
from instruments.rulings import Limits, rulings
from instruments.side_view import side_view, tips_of

COMMON = (PartKind.TELESCOPE, PartKind.FORCEPS, PartKind.SUCTION)
Group = tuple[str, bool, list[tuple[Part, bool]]]


@require_safe
def fit(request: HttpRequest) -> HttpResponse:
    """The set-up that the address names, with its rulings; what cannot be read is said and stays as it was."""
    form = FitForm(request.GET, fit_limits())
    mounting = form.mounting
    context: dict[str, Any] = {"form": form, "groups": _groups(form)}
    if mounting:
        context |= _judged(mounting, form.limits)
    elif not form.errors and not form.chosen:
        context["examples"] = [(example, _asked(example)) for example in examples(form.limits)]
    return render(request, "instruments/fit.html", context)


def _asked(example: Example) -> str:
    """The query that puts an example together."""
    passed = "implant" if example.part.kind == PartKind.IMPLANT else "shafts"
    base = {"base": example.base.code} if example.base else {}
    return urlencode({"bore": example.barrel.code, **base, passed: example.part.code})


def _groups(form: FitForm) -> list[Group]:
    """Parts in groups of one kind, each with whether it is chosen; rarer kinds only where one of them is."""
    groups: dict[str, list[tuple[Part, bool]]] = {str(kind): [] for kind in (*COMMON, PartKind.BARREL)}
    for row in sorted(form.shaft_parts, key=lambda row: (row.kind, row.size_id or 0, row.code)):
        groups.setdefault(row.kind, []).append((row, row.code in form.chosen))
    found = [(kind, any(on for _, on in rows), rows) for kind, rows in groups.items()]
    return [(kind, on or kind in COMMON, rows) for kind, on, rows in found if on or kind in (*COMMON, PartKind.BARREL)]


def _judged(mounting: Mounting, limits: Limits) -> dict[str, Any]:
    found = rulings(mounting, limits)
    if not found:
        return {"mounting": mounting}
    lumens = lumens_of(mounting, limits.gap_mm)
    fit = worst(ruling.judgement.fit for ruling in found)
    whole = all_of(ruling.judgement for ruling in found)
    grave = " ".join(finding.sentence for finding in whole.findings if finding.severity != "note")
    side = side_view(
        mounting,
        lumens,
        limits.wanted_mm,
        title=f"{mounting.barrel.name} with what is on it and in it, seen from the side",
        describe=f"{fit.capitalize()}. {grave}".strip(),
    )
    return {
        "mounting": mounting,
        "fit": fit,
        "counts": _counts([ruling.judgement.fit for ruling in found]),
        "rulings": sorted(found, key=lambda ruling: WORST_FIRST.index(ruling.judgement.fit)),
        "lumens": [_drawn(lumen, describe=f"{fit.capitalize()}. {grave}".strip()) for lumen in lumens],
        "side": side,
        "tips": tips_of(mounting, lumens),
        "pairs": mounting.pairs,
    }


def _counts(fits: list[Fit]) -> str:
    """How many of each verdict, the worst first."""
    return ", ".join(f"{fits.count(one)} {one}" for one in WORST_FIRST if one in fits)


def _drawn(lumen: Lumen, *, describe: str) -> dict[str, Any]:
    """A tube with its cross-section and its figures as the page says them."""
    passage, bore = lumen.passage, lumen.tube.bore
    words = {"lumen": lumen, "contents": [_legend(shaft) for shaft in lumen.contents]}
    if passage is None or bore is None:
        return words
    rows = [
        (shaft.name, shaft.size.nominal_mm, centre)
        for shaft, centre in zip(lumen.contents, passage.centres_mm, strict=True)
        if shaft.size
    ]
    picture = cross_section(
        bore.nominal_mm,
        rows,
        outer_mm=lumen.tube.outer.nominal_mm if lumen.tube.outer else None,
        title=f"{lumen.tube.name} and what is in it, seen along the axis",
        describe=describe,
    )
    return words | {
        "picture": picture,
        "passage": passage,
        "lacking_mm": -passage.spare_mm,
        "percent": round(100 * passage.free_share),
    }


def _legend(shaft: Measure) -> str:
    """A shaft with its width, French gauge with millimetres beside it."""
    if shaft.size is None:
        return f"{shaft.name}: Not measured"
    return f"{shaft.name}: {shaft.size.words}, {french(shaft.size.nominal_mm)}"
