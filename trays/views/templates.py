"""Templates with their versions: what a tray must hold, what differs, what proves it, and putting it in force."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST, require_safe

from instruments.models import Part, Series
from journal.doors import act_of, back_with, perform, person_of
from journal.findings import Severity, stops
from journal.moves import right_missing
from journal.roles import Right
from trays import actions
from trays.changes import changes, fingerprint, rule_words
from trays.forms import TemplateForm
from trays.imports import export_lists
from trays.limits import NOTE
from trays.models import Pack, Template, TemplateVersion
from trays.reads import proof_of, template_standings, wanted
from trays.states import VersionState


@require_safe
def templates(request: HttpRequest) -> HttpResponse:
    """Every template: its version in force, its trays, its draft."""
    context = {"standings": template_standings(), "why_not": _why_not(request), "form": TemplateForm()}
    return render(request, "trays/templates.html", context)


@require_POST
def enter(request: HttpRequest) -> HttpResponse:
    """A new kind of tray, with an empty draft."""
    form, to = TemplateForm(request.POST), reverse("templates")
    if not form.is_valid():
        return back_with(request, form, to=to)
    act = act_of(request)
    return perform(
        request,
        lambda: actions.enter_template(**form.cleaned_data, act=act),
        to=lambda done: reverse("template", args=[done.mark]),
    )


@require_safe
def template(request: HttpRequest, code: str) -> HttpResponse:
    """One template: its versions, its trays, and the packs that were assembled to an older list."""
    row = get_object_or_404(Template, code=code)
    versions = list(row.versions.select_related("published_by"))
    packs = Pack.objects.live().filter(version__template=row).select_related("version", "place", "tray")
    context = {
        "template": row,
        "versions": versions,
        "draft": _of_state(versions, VersionState.DRAFT),
        "in_force": _of_state(versions, VersionState.PUBLISHED),
        "trays": row.trays.select_related("home"),
        "old_packs": packs.filter(version__state=VersionState.SUPERSEDED).order_by("name", "code"),
        "why_not": _why_not(request),
    }
    return render(request, "trays/template.html", context)


@require_safe
def version(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """One version with its list; a draft with the forms that write it."""
    row = _version(code, number)
    listed = wanted(row)
    why_not = _why_not(request)
    writes = row.state == VersionState.DRAFT and not why_not
    context: dict[str, Any] = {
        "version": row,
        "in_force": row.template.versions.filter(state=VersionState.PUBLISHED).first(),
        "listed": listed,
        "rules": [(rule, rule_words(rule)) for rule in listed.rules],
        "why_not": why_not,
        "writes": writes,
    }
    if writes:
        context["parts"] = Part.objects.order_by("name").values_list("code", "name")
        context["series"] = Series.objects.prefetch_related("sizes")
        context["back"] = request.path
    return render(request, "trays/version.html", context)


@require_safe
def compare(request: HttpRequest, code: str) -> HttpResponse:
    """What differs between two versions; the one in force and the one before it when none are named."""
    row = get_object_or_404(Template, code=code)
    versions = list(row.versions.all())
    newer = _chosen(versions, request.GET.get("to", "")) or _of_state(versions, VersionState.PUBLISHED)
    before = [one for one in versions if newer and one.number < newer.number]
    older = _chosen(versions, request.GET.get("from", "")) or (before[0] if before else None)
    said = changes(wanted(older), wanted(newer)) if older and newer else ()
    context = {"template": row, "versions": versions, "older": older, "newer": newer, "changes": said}
    return render(request, "trays/compare.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def publish(request: HttpRequest, code: str) -> HttpResponse:
    """The draft with its proof and what it changes; and its coming into force."""
    row = get_object_or_404(Template, code=code)
    if request.method == "POST":
        return _publish(request, code)
    versions = list(row.versions.all())
    draft, in_force = (_of_state(versions, state) for state in (VersionState.DRAFT, VersionState.PUBLISHED))
    context: dict[str, Any] = {"template": row, "draft": draft, "in_force": in_force, "why_not": _why_not(request)}
    if draft is not None:
        listed, proof = wanted(draft), proof_of(draft)
        context |= {
            "listed": listed,
            "proof": proof,
            "stops": stops(proof),
            "looks": [finding for finding in proof if finding.severity is Severity.LOOK],
            "changes": changes(wanted(in_force), listed) if in_force else (),
            "seen": fingerprint(listed),
            "longest_note": NOTE,
        }
    return render(request, "trays/publish.html", context)


def _publish(request: HttpRequest, code: str) -> HttpResponse:
    note, seen, act = request.POST.get("note", ""), request.POST.get("seen", ""), act_of(request)
    return perform(
        request,
        lambda: actions.publish_version(code, note=note, seen=seen, act=act),
        to=lambda done: reverse("template", args=[done.mark]),
    )


@require_GET
def export_version(request: HttpRequest, code: str, number: int) -> HttpResponse:  # noqa: ARG001 - a view takes it
    """The list of one version as a table that the import takes."""
    return _csv(export_lists([_version(code, number)]), f"{code}-{number}")


@require_GET
def export(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - a view takes it
    """The lists in force of every template as one table."""
    versions = TemplateVersion.objects.filter(state=VersionState.PUBLISHED).select_related("template")
    return _csv(export_lists(versions.order_by("template__code")), "templates")


def _csv(table: str, name: str) -> HttpResponse:
    disposition = f'attachment; filename="{name}.csv"'
    return HttpResponse(table, content_type="text/csv; charset=utf-8", headers={"Content-Disposition": disposition})


def _version(code: str, number: int) -> TemplateVersion:
    rows = TemplateVersion.objects.select_related("template", "published_by")
    return get_object_or_404(rows, template__code=code, number=number)


def _of_state(versions: list[TemplateVersion], state: VersionState) -> TemplateVersion | None:
    return next((row for row in versions if row.state == state), None)


def _chosen(versions: list[TemplateVersion], number: str) -> TemplateVersion | None:
    return next((row for row in versions if str(row.number) == number), None)


def _why_not(request: HttpRequest) -> str:
    """Why the person may not write templates; empty when they may."""
    if Right.MASTER in person_of(request).rights:
        return ""
    return right_missing(Right.MASTER, "write", "templates").words
