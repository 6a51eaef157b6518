"""Applying a fix to a case that is not ready, and undoing it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_POST

from journal.doors import act_of, is_local, perform
from lists import actions


@require_POST
def apply_fix(request: HttpRequest, code: str) -> HttpResponse:
    """The fix that was pressed; its message has a button that undoes it."""
    key = request.POST.get("fix", "")
    undo = reverse("undo-fix", args=[code])
    return perform(
        request, lambda: actions.apply_fix(code, key, act=act_of(request)), to=_back(request, code), undo=undo
    )


@require_POST
def undo_fix(request: HttpRequest, code: str) -> HttpResponse:
    """The last fix of the case is taken back."""
    return perform(request, lambda: actions.undo_fix(code, act=act_of(request)), to=_back(request, code))


def _back(request: HttpRequest, code: str) -> str:
    """The page the form stood on."""
    back = request.POST.get("back", "")
    return back if is_local(back) else reverse("case", args=[code])
