"""The verbs of planning: cases onto lists, and what they need."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db.models import Model
from django.utils import timezone

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, look, stop, unknown
from journal.roles import Right
from lists.actions.expanding import expand_case
from lists.models import Allocation, Case, CaseLine, Issue, Procedure, Theatre, TheatreList
from lists.states import CaseState
from lists.writer import lock_case, move_case_state

CODE_LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Characters of a case's code: without 0 O 1 I, which are read for one another."""
CODE_LENGTH = 4
LONGEST_CASE_MIN = 24 * 60


def by_code(kind: str, model: type[Model], code: str) -> Any:
    """The row of this code; refused where there is none."""
    row = model._default_manager.filter(code=code.strip()).first()
    if row is None:
        raise Refused(unknown(kind, code))
    return row


@action
def plan_case(  # noqa: PLR0913 - a booking states so many things
    reference: str,
    theatre: str,
    procedure: str,
    starts_at: datetime,
    duration_min: int,
    *,
    planned_size: str = "",
    planned_implant: str = "",
    operator: str = "",
    patient_ref: str = "",
    act: Act,
) -> Done:
    """Put a case on a theatre's list, with all that it needs; the same reference again updates it.

    It needs what its procedure and its operator ask for, round the planned size and implant.
    """
    need(Right.PLAN, "plan", f"case {reference}", act)
    room, kind = by_code("theatre", Theatre, theatre), by_code("procedure", Procedure, procedure)
    if findings := tuple(_booking_facts(reference, duration_min)):
        raise Refused(*findings)
    fields = {
        "list": list_of(room, starts_at),
        "procedure": kind,
        "starts_at": starts_at,
        "duration_min": duration_min,
        "planned_size": planned_size.strip(),
        "planned_implant": planned_implant.strip(),
        "operator": operator.strip(),
        "patient_ref": patient_ref,
    }
    case, new = Case.objects.select_for_update(of=("self",), no_key=True).get_or_create(
        reference=reference, defaults={**fields, "code": new_code()}
    )
    if new:
        needs, findings = expand_case(case, anew=True)
        evidence = {"reference": reference, **needs}
        write_line(CaseLine, case, "plan", act, target=CaseState.PLANNED, evidence=evidence)
        return Done.of("plan_case", case, f"Case {case.code} planned: {_words(case)}.", "Allocate its sets.", findings)
    return _change(case, fields, "plan_case", act)


def _booking_facts(reference: str, duration_min: int) -> Iterator[Finding]:
    if not reference.strip():
        yield stop("reference-missing", "case", "Cannot plan a case: its reference is empty, must be stated.")
    if not 0 < duration_min <= LONGEST_CASE_MIN:
        yield stop(
            "duration-out-of-range",
            reference,
            f"Cannot plan case {reference}: its duration is {duration_min} min, must be from 1 to {LONGEST_CASE_MIN}.",
        )


def list_of(theatre: Theatre, starts_at: datetime) -> TheatreList:
    """The theatre's list of that day in the unit's time zone."""
    return TheatreList.objects.get_or_create(theatre=theatre, day=timezone.localdate(starts_at))[0]


def new_code() -> str:
    """A random code that no case has; never from a name or a number."""
    while True:
        code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        if not Case.objects.filter(code=code).exists():
            return code


def _words(case: Case) -> str:
    start = timezone.localtime(case.starts_at)
    return f"{case.procedure.name}, {case.list.theatre.name}, {start:%a %d-%b-%Y %H:%M}"


def _change(case: Case, fields: dict[str, Any], verb: str, act: Act) -> Done:
    """Write what differs; nothing differs: nothing happens, whatever the state of the case."""
    changes = {
        name: [str(getattr(case, name)), str(value)] for name, value in fields.items() if getattr(case, name) != value
    }
    if not changes:
        return Done.of(verb, case, f"Case {case.code} stands as it was: {_words(case)}.")
    if case.state != CaseState.PLANNED:
        raise Refused(
            stop(
                "wrong-state",
                case.code,
                f"Cannot change case {case.code}: it is {case.state}, must be planned.",
                "Plan a new case under a reference of its own.",
            )
        )
    for name, value in fields.items():
        setattr(case, name, value)
    case.save(update_fields=list(fields))
    needs: dict[str, Any] = {}
    findings: tuple[Finding, ...] = ()
    if changes.keys() & {"procedure", "operator", "planned_size", "planned_implant"}:
        needs, findings = expand_case(case, anew=bool(changes.keys() & {"procedure", "operator"}))
    write_line(CaseLine, case, verb.removesuffix("_case"), act, evidence=changes | needs)
    return Done.of(verb, case, f"Case {case.code} changed: {_words(case)}.", "Look at its sets again.", findings)


@action
def move_case(case: str, starts_at: datetime, *, theatre: str = "", act: Act) -> Done:
    """Move a planned case to another time, and to another theatre if one is named."""
    row = lock_case(case)
    need(Right.PLAN, "move", row.code, act)
    room = by_code("theatre", Theatre, theatre) if theatre else row.list.theatre
    return _change(row, {"list": list_of(room, starts_at), "starts_at": starts_at}, "move_case", act)


@action
def cancel_case(case: str, *, reason: str, act: Act) -> Done:
    """Take a planned case off its list; its sets are free for others."""
    row = lock_case(case)
    reason = reason_given(reason, "cancel", row.code)
    held = [str(allocation) for allocation in Allocation.objects.filter(requirement__case=row)]
    move_case_state(row, "cancel", act, reason=reason, evidence={"freed": held})
    Allocation.objects.filter(requirement__case=row).delete()
    findings = [
        look("pack-out", issue.pack.code, f"{issue.pack.code} is out for case {row.code}.", "Put it back.")
        for issue in Issue.objects.out().filter(case=row).select_related("pack")
    ]
    return Done.of("cancel_case", row, f"Case {row.code} is cancelled.", findings=findings)
