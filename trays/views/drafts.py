"""What the page of a draft does: each small form is one action."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_POST

from journal.actions import Done
from journal.doors import act_of, back_with, perform
from trays import actions
from trays.forms import (
    AddLineForm,
    ChangeLineForm,
    DropRuleForm,
    DropSubstituteForm,
    ImportForm,
    MoveLineForm,
    PartForm,
    RuleForm,
    StartForm,
    SubstituteForm,
)
from trays.models import TemplateVersion
from trays.states import VersionState

_VERBS: dict[str, tuple[type[forms.Form], Callable[..., Done]]] = {
    "start": (StartForm, actions.start_draft),
    "discard": (forms.Form, actions.discard_draft),
    "import": (ImportForm, actions.import_draft),
    "add-line": (AddLineForm, actions.add_line),
    "change-line": (ChangeLineForm, actions.change_line),
    "remove-line": (PartForm, actions.remove_line),
    "move-line": (MoveLineForm, actions.move_line),
    "name-substitute": (SubstituteForm, actions.name_substitute),
    "drop-substitute": (DropSubstituteForm, actions.drop_substitute),
    "set-rule": (RuleForm, actions.set_series_rule),
    "drop-rule": (DropRuleForm, actions.drop_series_rule),
}


@require_POST
def draft_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """One thing done to a draft; the page goes on at the line it was about."""
    if verb not in _VERBS:
        raise Http404
    form_of, run = _VERBS[verb]
    form = form_of(request.POST, request.FILES)
    if not form.is_valid():
        return back_with(request, form, to=_page(code))
    given: dict[str, Any] = form.cleaned_data
    act = act_of(request)
    return perform(request, lambda: run(code, **given, act=act), to=lambda _: _page(code, given.get("part", "")))


def _page(code: str, part: str = "") -> str:
    """The draft's page while one is open, else the template's."""
    draft = TemplateVersion.objects.filter(template__code=code, state=VersionState.DRAFT).first()
    if draft is None:
        return reverse("template", args=[code])
    return reverse("template-version", args=[code, draft.number]) + (f"#line-{part}" if part else "")
