"""The catalogue: parts, their dimensions, and what fits in what."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from instruments.drawings import cross_section
from instruments.fit import Judgement, Measure, co_passage, pass_together
from instruments.forms import FitForm, PieceForm
from instruments.models import Part, PartKind, Series
from instruments.reads import BORE_KINDS, bore_of, dimensions_of, shaft_of
from instruments.states import PieceState
from journal.doors import person_of
from journal.reads import policy
from journal.roles import Right


def catalogue(request: HttpRequest) -> HttpResponse:
    """Every part, by kind, with how many pieces the unit has of it."""
    kind, words = request.GET.get("kind", ""), request.GET.get("q", "").strip()
    parts = Part.objects.select_related("size__series").annotate(
        owned=Count("pieces", filter=~Q(pieces__state=PieceState.WITHDRAWN))
    )
    if kind in list(PartKind):
        parts = parts.filter(kind=kind)
    if words:
        parts = parts.filter(Q(code__icontains=words) | Q(name__icontains=words))
    context = {"parts": parts.order_by("kind", "size__series", "size__order", "code"), "kinds": list(PartKind)}
    context["series"] = Series.objects.all()
    return render(request, "instruments/catalogue.html", {**context, "kind": kind, "words": words})


def part(request: HttpRequest, code: str) -> HttpResponse:
    """One part: dimensions as entered, programmes, life, and its pieces."""
    row = get_object_or_404(Part.objects.with_dimensions().prefetch_related("validations__programme"), code=code)
    context = {
        "part": row,
        "dimensions": list(dimensions_of(row)),
        "ports": row.base.ports.all() if row.kind == PartKind.BASE and hasattr(row, "base") else (),
        "pieces": row.pieces.select_related("place").order_by("code"),
        "has_bore": row.kind in BORE_KINDS,
        "form": PieceForm() if Right.MASTER in person_of(request).rights and not row.single_use else None,
    }
    return render(request, "instruments/part.html", context)


def fit(request: HttpRequest) -> HttpResponse:
    """Whether any shafts go through any barrel at once, drawn to scale."""
    gap = float(policy("running_gap_mm"))
    chosen = request.GET.getlist("shafts")
    asked = {"gap_mm": gap, **request.GET.dict(), "shafts": chosen}
    form = FitForm(asked) if chosen else FitForm(initial=asked)
    context: dict[str, Any] = {"form": form, "kinds": _by_kind(form.shaft_parts, chosen)}
    if form.is_bound and form.is_valid():
        context |= _judged(form.cleaned_data["bore"], form.cleaned_data["shafts"], form.cleaned_data["gap_mm"])
    return render(request, "instruments/fit.html", context)


COMMON = (PartKind.TELESCOPE, PartKind.FORCEPS, PartKind.SUCTION)


def _by_kind(parts: Iterable[Part], chosen: Collection[str]) -> list[tuple[str, bool, list[tuple[Part, bool]]]]:
    """Parts in groups of one kind, each with whether it is chosen; the groups that matter stand open."""
    groups: dict[str, list[tuple[Part, bool]]] = {str(kind): [] for kind in COMMON}
    for row in sorted(parts, key=lambda row: (row.kind, row.size_id or 0, row.code)):
        groups.setdefault(row.kind, []).append((row, row.code in chosen))
    return [(kind, kind in COMMON or any(on for _, on in rows), rows) for kind, rows in groups.items()]


def _judged(bore_part: Part, shaft_parts: list[Part], gap_mm: float) -> dict[str, Any]:
    bore, shafts = bore_of(bore_part), [shaft_of(row) for row in shaft_parts]
    judgement = pass_together(bore, shafts, gap_mm)
    context: dict[str, Any] = {"judgement": judgement, "bore": bore, "shafts": shafts, "gap_mm": gap_mm}
    sizes = [shaft.size.nominal_mm for shaft in shafts if shaft.size]
    if bore.size is None or len(sizes) < len(shafts):
        return context
    result = co_passage(bore.size.nominal_mm, sizes, gap_mm)
    return context | {
        "result": result,
        "lacking_mm": -result.spare_mm,
        "share": round(100 * result.free_share),
        "picture": _picture(bore_part, shafts, judgement, result.centres_mm),
    }


def _picture(bore_part: Part, shafts: list[Measure], judgement: Judgement, centres: Any) -> str:
    bore = bore_of(bore_part).size
    outer = shaft_of(bore_part).size
    assert bore is not None  # noqa: S101 - asked before
    rows = [
        (shaft.name, shaft.size.nominal_mm, centre)
        for shaft, centre in zip(shafts, centres, strict=True)
        if shaft.size is not None
    ]
    return cross_section(
        bore.nominal_mm,
        rows,
        outer_mm=outer.nominal_mm if outer else None,
        title=f"{bore_part.name} and what goes through it, seen along the axis",
        describe=judgement.findings[0].sentence,
    )
