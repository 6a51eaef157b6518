"""The page of the validation report, and its two files."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from config.validation.report import Report, as_pdf, report
from journal.doors import person_of
from journal.roles import Right


def _computed(request: HttpRequest) -> Report:
    if Right.DECIDE not in person_of(request).rights:
        raise PermissionDenied("Validation is for the quality lead.")
    return report(timezone.now())


@require_safe
@never_cache
def validation(request: HttpRequest) -> HttpResponse:
    """Every formula against its published values, computed now."""
    return render(request, "validation.html", {"report": _computed(request)})


@require_safe
@never_cache
def validation_pdf(request: HttpRequest) -> HttpResponse:
    """The report to be signed and filed."""
    found = _computed(request)
    headers = {"Content-Disposition": f'inline; filename="Validation {found.at:%Y-%m-%d}.pdf"'}
    return HttpResponse(as_pdf(found), content_type="application/pdf", headers=headers)


@require_safe
@never_cache
def validation_json(request: HttpRequest) -> HttpResponse:
    """The same for a program."""
    found = _computed(request)
    answer = JsonResponse(found.as_dict(), json_dumps_params={"indent": 1, "ensure_ascii": False})
    answer["Content-Disposition"] = f'attachment; filename="validation-{found.at:%Y-%m-%d}.json"'
    return answer
