"""What is always asked for: by procedures, by operators, and for the shelf; and what one case needs beside it."""

from __future__ import annotations

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from journal.doors import act_of, back_with, perform, person_of
from journal.roles import Right
from lists import actions
from lists.forms import NeedsForm, ReasonForm, StandingForm
from lists.models import NeedsVersion, Procedure, Requirement, StandingSet


@require_safe
def needs(request: HttpRequest) -> HttpResponse:
    """Every procedure and operator with what is asked for, version by version, and the standing sets."""
    versions = (
        NeedsVersion.objects.select_related("procedure", "made_by")
        .prefetch_related("needs__template", "needs__part", "needs__series", "needs__version")
        .annotate(planned_by=Count("cases"))
    )
    stated: dict[tuple[str, int | None], list[NeedsVersion]] = {}
    for version in versions.order_by("operator", "procedure__code", "-number"):
        stated.setdefault((version.operator, version.procedure_id), []).append(version)
    groups = [(rows[0], rows[1:]) for rows in stated.values()]
    context = {
        "procedures": [group for group in groups if not group[0].operator],
        "operators": [group for group in groups if group[0].operator],
        "unstated": Procedure.objects.filter(versions=None),
        "standing": StandingSet.objects.select_related("template").order_by("template__code"),
        "form": NeedsForm(),
        "standing_form": StandingForm(),
        "may_state": Right.MASTER in person_of(request).rights,
    }
    return render(request, "lists/needs.html", context)


@require_POST
def state_needs(request: HttpRequest) -> HttpResponse:
    """A new version of what a procedure or an operator asks for."""
    form, to = NeedsForm(request.POST), reverse("needs")
    if not form.is_valid():
        return back_with(request, form, to=to)
    given = form.cleaned_data
    procedure = given["procedure"].code if given["procedure"] else ""
    return perform(
        request,
        lambda: actions.state_needs(
            given["needs"], procedure=procedure, operator=given["operator"], act=act_of(request)
        ),
        to=to,
    )


@require_POST
def keep_standing(request: HttpRequest) -> HttpResponse:
    """How many trays of a template must be sterile, and when."""
    form, to = StandingForm(request.POST), reverse("needs")
    if not form.is_valid():
        return back_with(request, form, to=to)
    given = {**form.cleaned_data, "template": form.cleaned_data["template"].code}
    return perform(request, lambda: actions.keep_standing(**given, act=act_of(request)), to=to)


@require_POST
def renew_needs(request: HttpRequest, code: str) -> HttpResponse:
    """The case needs what is asked for now."""
    to = reverse("case", args=[code])
    return perform(request, lambda: actions.renew_needs(code, act=act_of(request)), to=to)


@require_POST
def remove_requirement(request: HttpRequest, requirement: int) -> HttpResponse:
    """The case no longer needs one thing."""
    row = get_object_or_404(Requirement.objects.select_related("case"), pk=requirement)
    form, to = ReasonForm(request.POST), reverse("case", args=[row.case.code])
    if not form.is_valid():
        return back_with(request, form, to=to)
    reason = form.cleaned_data["reason"]
    return perform(request, lambda: actions.remove_requirement(row.pk, reason=reason, act=act_of(request)), to=to)
