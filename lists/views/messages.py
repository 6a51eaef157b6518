"""Messages of list systems: what waits and for what, what was refused, and what became of the rest."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, back_with, perform, person_of
from journal.roles import Right
from lists import actions
from lists.forms import AsideForm, CodeForm
from lists.models import OPEN_MESSAGES, Message, MessageState

MOST_ROWS = 20
"""Messages that somebody must look at, and as many others, on a page."""
KINDS = ("theatre", "procedure")


@require_safe
def messages(request: HttpRequest) -> HttpResponse:
    """What came and must be looked at, the oldest first; and the latest of the rest."""
    still_open = Message.objects.still_open().select_related("case")
    rest = Message.objects.exclude(state__in=OPEN_MESSAGES).select_related("case", "decided_by").order_by("-pk")
    context = {
        "count": still_open.count(),
        "rows": [_row(message) for message in still_open[:MOST_ROWS]],
        "rest": rest.defer("content")[:MOST_ROWS],
        "may_plan": Right.PLAN in person_of(request).rights,
    }
    return render(request, "lists/messages.html", context)


def _row(message: Message) -> dict[str, Any]:
    """A message with what it lacks, each with the form that supplies it."""
    codes = []
    for finding in message.findings:
        kind = finding["slug"].removesuffix("-not-known")
        if kind in KINDS:
            code = message.booking[kind] if message.booking else ""
            initial = {"sender": message.sender, "code": code}
            codes.append(
                {
                    "kind": kind,
                    "code": code,
                    "form": CodeForm(kind=kind, initial=initial, auto_id=f"{kind}_{message.pk}_%s"),
                }
            )
    return {
        "message": message,
        "booking": message.as_booking() if message.booking else None,
        "codes": codes,
        "waits": message.state == MessageState.WAITING,
        "aside": AsideForm(auto_id=f"aside_{message.pk}_%s"),
    }


@require_POST
def name_code(request: HttpRequest, kind: str) -> HttpResponse:
    """Say what another system's code means here."""
    if kind not in KINDS:
        raise Http404
    form, to = CodeForm(request.POST, kind=kind), reverse("messages")
    if not form.is_valid():
        return back_with(request, form, to=to)
    said = form.cleaned_data
    ours = {kind: said[kind].code}
    return perform(
        request, lambda: actions.name_code(said["sender"], said["code"], **ours, act=act_of(request)), to=to
    )


@require_POST
def try_again(request: HttpRequest, message: int) -> HttpResponse:
    """Apply a message now that something is otherwise."""
    return perform(request, lambda: actions.try_message_again(message, act=act_of(request)), to=reverse("messages"))


@require_POST
def set_aside(request: HttpRequest, message: int) -> HttpResponse:
    """Say why a message is not to be applied."""
    form: forms.Form = AsideForm(request.POST)
    if not form.is_valid():
        return back_with(request, form, to=reverse("messages"))
    reason = form.cleaned_data["reason"]
    return perform(
        request,
        lambda: actions.set_message_aside(message, reason=reason, act=act_of(request)),
        to=reverse("messages"),
    )
