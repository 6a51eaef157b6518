"""What happens to a template: a draft of its list is published."""

from __future__ import annotations

from collections.abc import Iterator

from journal.actions import Act, Done, action, need
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right
from trays.models import Template, TemplateVersion
from trays.states import VersionState


@action
def publish_version(template: str, *, note: str, act: Act) -> Done:
    """Publish the newest draft of a template; the version in force until now is superseded."""
    row = Template.objects.select_for_update().filter(code=template).first()
    if row is None:
        raise Refused(unknown("template", template))
    need(Right.MASTER, "publish a version of", row.name, act)
    draft = row.versions.filter(state=VersionState.DRAFT).first()
    findings = tuple(_publishing_facts(row, draft))
    if findings or draft is None:
        raise Refused(*findings)
    row.versions.filter(state=VersionState.PUBLISHED).update(state=VersionState.SUPERSEDED)
    draft.state, draft.note, draft.published_at = VersionState.PUBLISHED, note.strip(), act.at
    draft.save(update_fields=["state", "note", "published_at"])
    sentence = f"Version {draft.number} of {row.name} is published."
    return Done("publish_version", "template", row.pk, row.code, draft.state, sentence, "Assemble its trays to it.")


def _publishing_facts(template: Template, draft: TemplateVersion | None) -> Iterator[Finding]:
    if draft is None:
        yield stop(
            "no-draft",
            template.code,
            f"Cannot publish a version of {template.name}: there is no draft, one must be.",
            "Write a new version first.",
        )
    elif not draft.lines.exists():
        yield stop(
            "list-empty",
            template.code,
            f"Cannot publish version {draft.number} of {template.name}: it has no line, must have one or more.",
            "Write its lines first.",
        )
