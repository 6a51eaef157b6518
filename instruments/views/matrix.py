"""The fit matrix of a series, and what goes through one bore together."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from instruments.fit import Dimension
from instruments.fit_matrix import Clearance
from instruments.forms import GapForm
from instruments.gauge import in_column
from instruments.models import Part, Series
from instruments.reads import BORE_KINDS, KINDS_IN_ORDER, Company, Matrix, bore_of, company_of, matrix_of, shaft_of
from instruments.together import Group
from journal.reads import policy
from journal.tables import plain_cell

MOST_AT_FIRST, MOST_IN_ALL = 12, 300  # choices of a group
SAME_PART = "same part"
COLUMNS = (
    "series", "size", "bore_part", "bore_name", "bore_mm", "bore_tolerance_mm", "part", "name", "kind", "width_mm",
    "width_tolerance_mm", "gap_mm", "clearance_mm", "least_clearance_mm", "greatest_clearance_mm", "fit",
)  # fmt: skip


@require_safe
def matrix(request: HttpRequest, code: str) -> HttpResponse:
    """Everything that may go through, against the bores of a series, in size order."""
    series = get_object_or_404(Series, code=code)
    form, table = _asked(request, series)
    context = {
        "series": series,
        "others": Series.objects.exclude(pk=series.pk),
        "form": form,
        "table": table,
        "through": table.bores[0][0].kind if table.bores else "",
        "kind": request.GET.get("kind", ""),
        "groups": _by_kind(table),
        "shaft_kinds": KINDS_IN_ORDER,
        "asked": request.GET.urlencode(),
    }
    return render(request, "instruments/matrix.html", context)


@require_safe
def matrix_csv(request: HttpRequest, code: str) -> HttpResponse:
    """The same matrix as a file: a line for each part in each bore, lengths in millimetres."""
    series = get_object_or_404(Series, code=code)
    _, table = _asked(request, series)
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="fit-matrix-{series.pk}.csv"'
    writer = csv.writer(answer)
    writer.writerow(COLUMNS)
    writer.writerows(_lines(series, table))
    return answer


@require_safe
def together(request: HttpRequest, code: str) -> HttpResponse:
    """What goes through one part together: what fits first, the widest first; a few of each until all are asked."""
    part = get_object_or_404(Part.objects.with_dimensions(), code=code, kind__in=BORE_KINDS)
    form, gap_mm = _gap(request)
    beside, full = request.GET.get("beside", ""), bool(request.GET.get("all"))
    company = company_of(part, beside=beside, gap_mm=gap_mm, most=MOST_IN_ALL if full else MOST_AT_FIRST)
    context = {
        "part": part,
        "bore": bore_of(part).size,
        "form": form,
        "gap_mm": gap_mm,
        "beside": beside,
        "company": company,
        "groups": [_group(part, group, company, gap_mm) for group in company.groups],
        "all_of_them": urlencode({**request.GET.dict(), "all": "yes"}),
        "full": full,
    }
    return render(request, "instruments/together.html", context)


def _gap(request: HttpRequest) -> tuple[GapForm, float]:
    """The gap asked for, or the unit's own where it is absent or cannot be read."""
    usual = float(policy("running_gap_mm"))
    form = GapForm({"gap_mm": request.GET.get("gap_mm", usual)})
    return form, (form.cleaned_data["gap_mm"] if form.is_valid() else usual)


def _asked(request: HttpRequest, series: Series) -> tuple[GapForm, Matrix]:
    form, gap_mm = _gap(request)
    kind = request.GET.get("kind", "")
    shown = kind if kind in KINDS_IN_ORDER else ""
    return form, matrix_of(series, through=request.GET.get("through", ""), kind=shown, gap_mm=gap_mm)


def _by_kind(table: Matrix) -> list[tuple[str, list[dict[str, Any]]]]:
    """The rows in groups of one kind."""
    bores = [bore for bore, _ in table.bores]
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in table.rows:
        cells = [_cell(bore, row.part, cell, table.gap_mm) for bore, cell in zip(bores, row.cells, strict=True)]
        groups.setdefault(row.part.kind, []).append({"part": row.part, "width": row.width, "cells": cells})
    return list(groups.items())


def _cell(bore: Part, part: Part, cell: Clearance | None, gap_mm: float) -> tuple[Clearance | None, str, str]:
    """The clearance, its figure, and the address that draws the two; nothing for a part in itself."""
    if cell is None:
        return None, "", ""
    figure = "" if cell.nominal_mm is None else in_column(cell.nominal_mm)
    return cell, figure, _explorer(bore, [part], gap_mm)


def _group(bore: Part, group: Group, company: Company, gap_mm: float) -> dict[str, Any]:
    """One group of choices for the page, each with its parts and the address that draws it."""
    rows = []
    for choice in group.first:
        parts = [company.shafts[role][at] for role, at in zip(group.roles, choice.shafts, strict=True)]
        share = round(100 * choice.free_share)
        rows.append({"choice": choice, "parts": parts, "share": share, "address": _explorer(bore, parts, gap_mm)})
    passing = group.fitting + group.tight
    return {"group": group, "rows": rows, "passing": passing, "failing": group.asked - passing}


def _explorer(bore: Part, parts: list[Part], gap_mm: float) -> str:
    asked = [("bore", bore.code), *(("shafts", part.code) for part in parts), ("gap_mm", f"{gap_mm:g}")]
    return f"{reverse('fit')}?{urlencode(asked)}"


def _lines(series: Series, table: Matrix) -> Iterator[list[object]]:
    for at, (bore, _) in enumerate(table.bores):
        for row in table.rows:
            cell = row.cells[at]
            figures = (cell.nominal_mm, cell.least_mm, cell.most_mm) if cell else (None, None, None)
            yield [
                *map(plain_cell, (series.code, bore.size.label if bore.size else "", bore.code, bore.name)),
                *_exact(bore_of(bore).size),
                *map(plain_cell, (row.part.code, row.part.name, row.part.kind)),
                *_exact(shaft_of(row.part).size),
                table.gap_mm,
                *("" if figure is None else round(figure, 6) for figure in figures),
                cell.fit if cell else SAME_PART,
            ]


def _exact(size: Dimension | None) -> tuple[object, object]:
    return (size.nominal_mm, size.tolerance_mm) if size else ("", "")
