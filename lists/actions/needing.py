"""The verbs of what one case needs beside the standard, and of bringing it in line with a newer version."""

from __future__ import annotations

from instruments.models import Part
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Refused, stop, unknown
from journal.roles import Right
from lists.actions.expanding import BY_HAND, expand_case
from lists.actions.planning import by_code
from lists.models import Case, CaseLine, Requirement
from lists.states import OPEN_CASES
from lists.writer import lock_case
from trays.models import Template


@action
def add_requirement(case: str, *, template: str = "", part: str = "", reason: str = "", act: Act) -> Done:
    """Ask for one more tray of a template, or one more pack of a part, for a case that has not ended."""
    row = _open_case(case, "add a requirement to", act)
    if bool(template) == bool(part):
        raise Refused(
            stop(
                "template-or-part",
                row.code,
                f"Cannot add a requirement to case {row.code}: it must name one template or one part.",
            )
        )
    wanted = {"template": by_code("template", Template, template)} if template else {
        "part": by_code("part", Part, part)
    }  # fmt: skip
    requirement = Requirement.objects.create(case=row, source=BY_HAND, reason=reason.strip(), **wanted)
    evidence = {"requirement": requirement.pk, "template": template, "part": part}
    write_line(CaseLine, row, "add_requirement", act, reason=requirement.reason, evidence=evidence)
    return Done.of("add_requirement", row, f"Case {row.code} also needs {requirement}.", "Allocate it.")


@action
def remove_requirement(requirement: int, *, reason: str, act: Act) -> Done:
    """Take one need off a case that has not ended; what was to serve it is free. Bringing in line asks for it anew."""
    code = Requirement.objects.filter(pk=requirement).values_list("case__code", flat=True).first()
    if code is None:
        raise Refused(unknown("requirement", str(requirement)))
    case = _open_case(code, "take a requirement off", act)
    row = Requirement.objects.select_related("template", "part", "allocation__tray", "allocation__pack").get(
        pk=requirement
    )
    reason = reason_given(reason, "take a requirement off", case.code)
    allocation = getattr(row, "allocation", None)
    freed = str(allocation) if allocation else ""
    evidence = {"wants": str(row), "source": row.source, "freed": freed}
    write_line(CaseLine, case, "remove_requirement", act, reason=reason, evidence=evidence)
    words = str(row)
    row.delete()
    return Done.of("remove_requirement", case, f"Case {case.code} no longer needs {words}.")


@action
def renew_needs(case: str, *, act: Act) -> Done:
    """Expand what a case needs anew, by what its procedure and its operator ask for now."""
    row = _open_case(case, "renew the needs of", act)
    evidence, findings = expand_case(row, anew=True)
    write_line(CaseLine, row, "renew_needs", act, evidence=evidence)
    versions = "; ".join(evidence["needs_of"]) or "nothing that is stated"
    sentence = f"Case {row.code} needs what is asked for now: {versions}."
    return Done.of("renew_needs", row, sentence, "Look at its sets again.", findings)


def _open_case(code: str, verb: str, act: Act) -> Case:
    """A case that may still be given packs, locked."""
    row = lock_case(code)
    need(Right.PLAN, verb, row.code, act)
    if row.state not in OPEN_CASES:
        raise Refused(
            stop(
                "wrong-state",
                row.code,
                f"Cannot {verb} case {row.code}: it is {row.state}, must be planned or under way.",
                "Nothing was changed.",
            )
        )
    return row
