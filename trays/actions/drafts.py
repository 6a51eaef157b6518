"""What is done with the draft of a template's next version: opened, written line by line, thrown away."""

from __future__ import annotations

from instruments.models import Part
from journal.actions import Act, Done, action, need
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right
from trays.limits import LINES, QUANTITY, out_of_range
from trays.models import Template, TemplateLine, TemplateVersion
from trays.reads import wanted
from trays.states import VersionState
from trays.writer import lock_template, new_draft, number_lines


@action
def enter_template(code: str, *, name: str, act: Act) -> Done:
    """Enter a new kind of tray; its list is an empty draft."""
    code, name = code.strip(), name.strip()
    need(Right.MASTER, "enter", f"template {code}", act)
    findings = [
        *_text_facts("code", code, Template._meta.get_field("code").max_length),
        *_text_facts("name", name, Template._meta.get_field("name").max_length),
    ]
    if Template.objects.filter(code__iexact=code).exists():
        sentence = f"Cannot enter template {code}: there is one of this code, the code must be new."
        findings.append(stop("template-there", code, sentence, "Choose another code."))
    if findings:
        raise Refused(*findings)
    template = Template.objects.create(code=code, name=name)
    return draft_done("enter_template", new_draft(template), f"Template {name} is entered.", "Write its lines.")


def _text_facts(what: str, text: str, longest: int | None) -> tuple[Finding, ...]:
    if text and len(text) <= (longest or 0) and text.isprintable() and "/" not in text:
        return ()
    found = f"“{text[:40]}”" if text else "nothing"
    sentence = f"Cannot enter a template: its {what} is {found}, must be 1 to {longest} characters without a slash."
    return (stop(f"{what}-unfit", text[:40] or what, sentence, f"Write another {what}."),)


@action
def start_draft(template: str, *, empty: bool = False, act: Act) -> Done:
    """Open a draft of the next version: a copy of the version in force, or an empty one."""
    row = lock_template(template)
    need(Right.MASTER, "write a version of", row.name, act)
    if draft := draft_of(row):
        sentence = f"Cannot open a draft of {row.name}: draft {draft.number} is open, none must be."
        raise Refused(stop("draft-open", row.code, sentence, "Go on with it, or discard it."))
    in_force = row.versions.filter(state=VersionState.PUBLISHED).first()
    copied = in_force is not None and not empty
    draft = new_draft(row, wanted(in_force) if in_force and copied else None)
    what = f"a copy of version {in_force.number}" if in_force and copied else "empty"
    return draft_done("start_draft", draft, f"Draft {draft.number} of {row.name} is open, {what}.")


@action
def discard_draft(template: str, *, act: Act) -> Done:
    """Throw the draft away; the version in force stays as it is."""
    draft = lock_draft(template, "discard the draft of", act)
    number, row = draft.number, draft.template
    draft.delete()
    sentence = f"Draft {number} of {row.name} is discarded."
    return Done("discard_draft", "template", row.pk, row.code, "", sentence)


@action
def add_line(
    template: str, part: str, *, quantity: int = 1, essential: bool = True, position: int | None = None, act: Act
) -> Done:
    """Put a part on the draft's list, at a place of the packing order or at its end."""
    draft = lock_draft(template, "add a line to", act)
    wants = part_of_catalogue(part)
    lines = list(draft.lines.all())
    place = len(lines) + 1 if position is None else position
    findings = [
        *out_of_range("quantity", quantity, QUANTITY, f"add {wants.name} to", str(draft)),
        *out_of_range("place", place, (1, min(len(lines) + 1, LINES)), f"add {wants.name} to", str(draft)),
    ]
    if there := next((line for line in lines if line.part_id == wants.pk), None):
        sentence = f"Cannot add {wants.name} to {draft}: it is line {there.position}, must be on one line only."
        findings.append(stop("line-there", wants.code, sentence, "Change its quantity there."))
    if findings:
        raise Refused(*findings)
    last = max((line.position for line in lines), default=0) + 1
    added = TemplateLine.objects.create(
        version=draft, position=last, part=wants, quantity=quantity, essential=essential
    )
    order = [line.pk for line in lines]
    number_lines(draft, [*order[: place - 1], added.pk, *order[place - 1 :]])
    return draft_done("add_line", draft, f"{quantity} × {wants.name} is line {place} of {draft}.")


@action
def change_line(template: str, part: str, *, quantity: int, essential: bool, act: Act) -> Done:
    """Ask for another quantity of a part, or make its line essential or optional."""
    draft = lock_draft(template, "change a line of", act)
    line = line_of(draft, part)
    if findings := out_of_range("quantity", quantity, QUANTITY, f"change {line.part.name} on", str(draft)):
        raise Refused(*findings)
    line.quantity, line.essential = quantity, essential
    line.save(update_fields=["quantity", "essential"])
    weight = "essential" if essential else "optional"
    return draft_done("change_line", draft, f"{draft} wants {quantity} × {line.part.name}, {weight}.")


@action
def remove_line(template: str, part: str, *, act: Act) -> Done:
    """Take a part off the draft's list, with its substitutes."""
    draft = lock_draft(template, "remove a line of", act)
    line = line_of(draft, part)
    line.delete()
    number_lines(draft, draft.lines.values_list("pk", flat=True))
    return draft_done("remove_line", draft, f"{line.part.name} is off {draft}.")


@action
def move_line(template: str, part: str, *, to: int, act: Act) -> Done:
    """Put a line at another place of the packing order; those between make room."""
    draft = lock_draft(template, "move a line of", act)
    line = line_of(draft, part)
    others = [key for key in draft.lines.values_list("pk", flat=True) if key != line.pk]
    if findings := out_of_range("place", to, (1, len(others) + 1), f"move {line.part.name} on", str(draft)):
        raise Refused(*findings)
    number_lines(draft, [*others[: to - 1], line.pk, *others[to - 1 :]])
    return draft_done("move_line", draft, f"{line.part.name} is line {to} of {draft}.")


def draft_of(template: Template) -> TemplateVersion | None:
    """The draft that is open."""
    return template.versions.filter(state=VersionState.DRAFT).first()


def lock_draft(template: str, verb: str, act: Act) -> TemplateVersion:
    """The open draft of a template, which is locked.

    Raises:
        Refused: there is no such template, the right is missing, or no draft is open.
    """
    row = lock_template(template)
    need(Right.MASTER, verb, row.name, act)
    draft = draft_of(row)
    if draft is None:
        sentence = f"Cannot {verb} {row.name}: no draft of its list is open, one must be."
        raise Refused(stop("no-draft", row.code, sentence, "Open a draft first."))
    draft.template = row
    return draft


def line_of(draft: TemplateVersion, part: str) -> TemplateLine:
    """The draft's line of a part.

    Raises:
        Refused: no line wants this part.
    """
    line = draft.lines.select_related("part").filter(part__code=part).first()
    if line is None:
        sentence = f"Cannot find {part} on {draft}: no line wants it, one must."
        raise Refused(stop("no-line", part, sentence, "Look at the list as it is now."))
    return line


def part_of_catalogue(code: str) -> Part:
    """The part of this code.

    Raises:
        Refused: the catalogue has none.
    """
    part = Part.objects.filter(code=code).first()
    if part is None:
        raise Refused(unknown("part", code))
    return part


def draft_done(verb: str, draft: TemplateVersion, sentence: str, next_step: str = "") -> Done:
    """The answer of what was done to a draft."""
    row = draft.template
    return Done(verb, "template", row.pk, row.code, draft.state, sentence, next_step)
