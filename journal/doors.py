"""What every page shares: who acts, and how an action's answer or refusal reaches the person."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone

from journal.actions import Act, Done
from journal.findings import Finding, Refused, Severity
from journal.models import Person, Station

SEE_OTHER = 303
STATION = "station"  # session key: the station this browser stands at


def person_of(request: HttpRequest) -> Person:
    """The signed-in person."""
    return cast("Person", request.user)


def station_of(request: HttpRequest) -> Station | None:
    """The station chosen in this session, if any."""
    chosen = request.session.get(STATION)
    return Station.objects.filter(pk=chosen).first() if chosen else None


def act_of(request: HttpRequest, *, method: str = "password") -> Act:
    """The act of the signed-in person; the form's hidden key makes a double submit harmless."""
    return Act(
        by=person_of(request),
        at=timezone.now(),
        station=station_of(request),
        method=method,
        key=request.POST.get("key", ""),
    )


def signed_act(request: HttpRequest) -> Act:
    """The act of a person who has just signed with their password (field `password`).

    Raises:
        Refused: the password is not theirs.
    """
    person = person_of(request)
    password = request.POST.get("password", "")
    if authenticate(request, username=person.username, password=password) != person:
        raise Refused(
            Finding(
                "signature-missing",
                Severity.STOP,
                str(person),
                f"Cannot sign as {person}: the password does not match the person signed in.",
                "Type your own password. Nothing was changed.",
            )
        )
    return act_of(request, method="signature")


def perform(
    request: HttpRequest, run: Callable[[], Done], *, to: str | Callable[[Done], str], undo: str = ""
) -> HttpResponse:
    """Run an action for a page and go on to `to`; answer and refusals become messages there.

    Args:
        request: the POST.
        run: calls the action; may raise Refused.
        to: address to go on to, or a function of the answer. After a refusal the page the form stood on
            (its field `back`), else `to`, else the front page.
        undo: address of what takes it back; the message of the answer then has a button for it.
    """
    try:
        done = run()
    except Refused as refused:
        for finding in refused.findings:
            messages.error(request, finding.words)
        back = request.POST.get("back", "")
        fallback = to if isinstance(to, str) else "/"
        return HttpResponseRedirect(back if is_local(back) else fallback, status=SEE_OTHER)
    looks = any(finding["severity"] == Severity.LOOK for finding in done.findings)
    level = messages.WARNING if looks else messages.SUCCESS
    messages.add_message(request, level, f"{done.sentence} {done.next_step}".strip(), extra_tags=undo)
    for looked in done.findings:
        messages.warning(request, f"{looked['sentence']} {looked['remedy']}".strip())
    return HttpResponseRedirect(to if isinstance(to, str) else to(done), status=SEE_OTHER)


def back_with(request: HttpRequest, form: forms.Form, *, to: str) -> HttpResponse:
    """A small form on a page of something else that is not filled in right: say so there."""
    for name, faults in form.errors.items():
        label = form.fields[name].label if name in form.fields else None
        messages.error(
            request, f"{label or name.replace('_', ' ').capitalize()}: {' '.join(str(fault) for fault in faults)}"
        )
    return HttpResponseRedirect(to, status=SEE_OTHER)


def is_local(address: str) -> bool:
    """Whether an address stays on this site."""
    return address.startswith("/") and not address.startswith(("//", "/\\"))
