"""The catalogue: parts and their dimensions."""

from __future__ import annotations

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from instruments.forms import PieceForm
from instruments.models import Part, PartKind, Series
from instruments.reads import BORE_KINDS, PASSED, dimensions_of
from instruments.states import PieceState
from journal.doors import person_of
from journal.roles import Right

# Field of the fit explorer that a part of this kind goes into
FIT_FIELDS: dict[str, str] = {
    PartKind.BASE: "base",
    PartKind.PUSHER: "pusher",
    PartKind.IMPLANT: "implant",
    **dict.fromkeys(PASSED, "shafts"),
    **dict.fromkeys(BORE_KINDS, "bore"),
}


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
    row = get_object_or_404(
        Part.objects.with_dimensions().prefetch_related("validations__programme", "base__ports"), code=code
    )
    context = {
        "part": row,
        "dimensions": list(dimensions_of(row)),
        "ports": row.base.ports.all() if row.kind == PartKind.BASE and hasattr(row, "base") else (),
        "pieces": row.pieces.select_related("place").order_by("code"),
        "has_bore": row.kind in BORE_KINDS,
        "fit_field": FIT_FIELDS.get(row.kind),
        "form": PieceForm() if Right.MASTER in person_of(request).rights and not row.single_use else None,
    }
    return render(request, "instruments/part.html", context)
