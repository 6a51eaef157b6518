"""The page of reports of a period, and each of them as a table to take away."""

from __future__ import annotations

import csv
from datetime import timedelta
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from config.reports.figures import REPORTS, Period, Report, reports
from journal.tables import plain_cell
from reprocessing.control_chart import chart_svg

USUAL = timedelta(days=90)
BY_SLUG = {report.__name__.replace("_", "-"): report for report in REPORTS}


class Asked(forms.Form):
    """The period of the reports."""

    first = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    last = forms.DateField(label="To", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))

    def clean(self) -> dict[str, Any]:
        """A period that does not end before it begins."""
        said = super().clean() or {}
        if said.get("first") and said.get("last"):
            try:
                said["period"] = Period(said["first"], said["last"])
            except ValueError as refusal:
                raise forms.ValidationError(str(refusal)) from refusal
        return said


def _asked(request: HttpRequest) -> Asked:
    today = timezone.localdate()
    usual = {"first": str(today - USUAL), "last": str(today)}
    return Asked({**usual, **request.GET.dict()})


@require_safe
def reports_page(request: HttpRequest) -> HttpResponse:
    """Every report of a period with its definition, its n, its table and its chart."""
    form = _asked(request)
    told = [(row, _picture(row)) for row in reports(form.cleaned_data["period"])] if form.is_valid() else []
    query = "&".join(f"{name}={form[name].value()}" for name in ("first", "last"))
    return render(request, "reports.html", {"form": form, "reports": told, "query": query})


def _picture(report: Report) -> str:
    chart = report.chart
    if chart is None:
        return ""
    outside = ", ".join(point.sample.label for point in chart.outside) or "none"
    describe = f"Share not right at first by week, mean {chart.mean:.1%}; weeks outside the limits: {outside}."
    return mark_safe(chart_svg(chart, title=report.title, describe=describe))  # noqa: S308 - escaped where it is drawn


@require_safe
def report_csv(request: HttpRequest, slug: str) -> HttpResponse:
    """One report as a table, with its definition, its period, who asked for it and when."""
    form = _asked(request)
    if slug not in BY_SLUG or not form.is_valid():
        raise Http404
    period: Period = form.cleaned_data["period"]
    report = BY_SLUG[slug](period)
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{slug}-{period.first}-{period.last}.csv"'
    out = csv.writer(answer)
    printed = f"{timezone.localtime():%Y-%m-%d %H:%M %Z}"
    head = [report.title, f"{period.first} to {period.last}", "n", report.n, "Printed", printed, "By", request.user]
    out.writerow([plain_cell(str(cell)) for cell in head])
    out.writerow([report.definition])
    out.writerow(report.columns)
    out.writerows([plain_cell(str(cell)) for cell in row] for row in report.rows)
    if report.chart is not None:
        out.writerow(["Week", "Not right at first", "n", "Share", "Lower limit", "Upper limit"])
        for point in report.chart.points:
            sample = point.sample
            shares = (f"{share:.4f}" for share in (sample.share, point.low, point.high))
            out.writerow([sample.label, sample.count, sample.of, *shares])
    return answer
