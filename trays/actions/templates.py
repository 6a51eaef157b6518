"""What happens to the versions of a template: a draft is taken from a table, and published."""

from __future__ import annotations

from collections.abc import Iterator

from journal.actions import Act, Done, action, need
from journal.findings import Finding, Refused, Severity, stop, stops
from journal.roles import Right
from journal.tables import FaultyTable
from trays.actions.drafts import draft_done, draft_of
from trays.changes import changes, fingerprint
from trays.imports import read_list
from trays.limits import NOTE
from trays.matching import Wanted
from trays.models import Template, TemplateVersion
from trays.reads import proof_of, wanted
from trays.states import VersionState
from trays.writer import empty_list, lock_template, new_draft, put_in_force, write_list


@action
def import_draft(template: str, *, table: str, act: Act) -> Done:
    """Take the draft's whole list from a table, as templates are imported; what the draft held is replaced.

    `table` is the text of a CSV file with the rows of this one template. A draft is opened when none is.
    """
    row = lock_template(template)
    need(Right.MASTER, "import a draft of", row.name, act)
    try:
        listed = read_list(table.encode(), row.code)
    except FaultyTable as faulty:
        remedy = "Put it right in the file and import it again."
        raise Refused(
            *(stop("faulty-cell", fault.column or "file", fault.sentence, remedy) for fault in faulty.faults)
        ) from None
    draft = draft_of(row) or new_draft(row)
    draft.template = row
    empty_list(draft)
    write_list(draft, listed)
    lines = f"{len(listed.lines)} line{'' if len(listed.lines) == 1 else 's'}"
    sentence = f"Draft {draft.number} of {row.name} is taken from the table: {lines}."
    return draft_done("import_draft", draft, sentence, "Look at what differs, then publish it.")


@action
def publish_version(template: str, *, note: str, seen: str = "", act: Act) -> Done:
    """Publish the draft of a template; the version in force until now is superseded.

    The list must prove itself. What its proof asks people to look at is answered by the note. `seen` is the
    fingerprint of the draft that the person looked at; when it has become another since, nothing happens.
    """
    row = lock_template(template)
    need(Right.MASTER, "publish a version of", row.name, act)
    draft, note = draft_of(row), note.strip()
    if draft is None:
        sentence = f"Cannot publish a version of {row.name}: there is no draft, one must be."
        raise Refused(stop("no-draft", row.code, sentence, "Write a new version first."))
    listed, proof = wanted(draft), proof_of(draft)
    if findings := (*_draft_facts(row, draft, listed, seen), *stops(proof), *_note_facts(row, draft, note, proof)):
        raise Refused(*findings)
    put_in_force(row, draft, note=note, proof=proof, act=act)
    sentence = f"Version {draft.number} of {row.name} is published."
    return draft_done("publish_version", draft, sentence, "Assemble its trays to it.")


def _draft_facts(row: Template, draft: TemplateVersion, listed: Wanted, seen: str) -> Iterator[Finding]:
    refusal = f"Cannot publish version {draft.number} of {row.name}"
    in_force = row.versions.filter(state=VersionState.PUBLISHED).first()
    if not listed.lines:
        sentence = f"{refusal}: it has no line, must have one or more."
        yield stop("list-empty", row.code, sentence, "Write its lines first.")
    elif seen and seen != fingerprint(listed):
        sentence = f"{refusal}: it was changed after you looked at it, must be as you saw it."
        yield stop("draft-changed", row.code, sentence, "Look at it and at its proof again.")
    elif in_force is not None and not changes(wanted(in_force), listed):
        sentence = f"{refusal}: it is the same as version {in_force.number}, must differ from it."
        yield stop("nothing-changed", row.code, sentence, "Discard the draft.")


def _note_facts(row: Template, draft: TemplateVersion, note: str, proof: tuple[Finding, ...]) -> Iterator[Finding]:
    refusal = f"Cannot publish version {draft.number} of {row.name}"
    looks = sum(finding.severity is Severity.LOOK for finding in proof)
    if looks and not note:
        sentence = f"{refusal}: the note is empty, must say that the {looks} looks of its proof were answered."
        yield stop("looks-unanswered", row.code, sentence, "Say in the note why it is right as it is.")
    if len(note) > NOTE or not note.isprintable():
        sentence = f"{refusal}: its note has {len(note)} characters, must have at most {NOTE} in one line."
        yield stop("note-unfit", row.code, sentence, "Shorten the note.")
