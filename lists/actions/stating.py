"""The verbs of what is always asked for: by a procedure, by an operator, and for the shelf at all times."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import time
from typing import Any

from django.db.models import Model

from instruments.models import Part, Series
from journal.actions import Act, Done, action, need
from journal.findings import Refused, stop
from journal.roles import Right
from lists.actions.planning import by_code
from lists.models import NeedsVersion, Procedure, StandingSet, StatedNeed
from lists.requirements import MOST, NeedKind, Stated, parse
from trays.models import Template

NAMED: dict[NeedKind, tuple[str, type[Model]]] = {
    NeedKind.TEMPLATE: ("template", Template),
    NeedKind.PART: ("part", Part),
    NeedKind.BACKUP: ("part", Part),
    NeedKind.SIZES: ("series", Series),
}
"""What a need of each kind names."""


@action
def state_needs(needs: tuple[str, ...], *, procedure: str = "", operator: str = "", act: Act) -> Done:
    """State what a procedure needs, or what an operator asks for beside it: a new version, where anything differs.

    Cases keep the version that they were expanded by. An operator without a procedure asks at every one; an
    operator who asks for nothing more states no need.
    """
    operator = operator.strip()
    of = " of ".join(words for words in (operator and f"operator {operator}", procedure) if words)
    need(Right.MASTER, "state", f"the needs of {of}", act)
    if not procedure and not operator:
        raise Refused(stop("of-nobody", "needs", "Cannot state needs: they must be of a procedure or an operator."))
    if not needs and not operator:
        raise Refused(stop("no-need", procedure, f"Cannot state the needs of {procedure}: there must be one or more."))
    stated = [_stated(text, of) for text in needs]
    kind = by_code("procedure", Procedure, procedure) if procedure else None
    held = _in_force(kind, operator)
    if held is not None and _same(held, stated):
        return _told(held, f"The needs of {of} stand as they were, version {held.number}.")
    number = held.number + 1 if held else 1
    version = NeedsVersion.objects.create(
        procedure=kind, operator=operator, number=number, made_at=act.at, made_by=act.by
    )
    StatedNeed.objects.bulk_create(StatedNeed(version=version, **_fields(one)) for one in stated)
    return _told(
        version,
        f"The needs of {of} are stated: version {number}.",
        "Bring the cases in line that are planned by an older one.",
    )


def _told(version: NeedsVersion, sentence: str, next_step: str = "") -> Done:
    mark = version.procedure.code if version.procedure else version.operator
    return Done("state_needs", "needs", version.pk, mark, f"version {version.number}", sentence, next_step)


def _stated(text: str, of: str) -> Stated:
    try:
        return parse(text)
    except ValueError as wrong:
        sentence = f"Cannot state the needs of {of}: one is “{text}”, {wrong}."
        raise Refused(stop("need-unreadable", of, sentence)) from wrong


def _in_force(procedure: Procedure | None, operator: str) -> NeedsVersion | None:
    """The latest version; what it is of is locked, so that two do not take one number."""
    rows = Procedure.objects.select_for_update(no_key=True).order_by("pk")
    list(rows.filter(pk=procedure.pk) if procedure else rows)
    return NeedsVersion.objects.filter(procedure=procedure, operator=operator).order_by("number").last()


def _same(version: NeedsVersion, stated: Iterable[Stated]) -> bool:
    rows = version.needs.select_related("version", "template", "part", "series")
    return sorted(row.stated.text for row in rows) == sorted(one.text for one in stated)


def _fields(one: Stated) -> dict[str, Any]:
    fields = {"kind": one.kind, "quantity": one.quantity, "below": one.below, "above": one.above}
    if one.kind not in NAMED:
        return fields
    field, model = NAMED[one.kind]
    return {**fields, field: by_code(field, model, one.code)}


@action
def keep_standing(
    template: str, minimum: int, *, from_time: str = "", until_time: str = "", otherwise: int = 0, act: Act
) -> Done:
    """So many trays of a template must be sterile: at all times, or from HH:MM until HH:MM and else fewer."""
    need(Right.MASTER, "state", "a standing set", act)
    row = by_code("template", Template, template)
    if not (0 <= minimum <= MOST and 0 <= otherwise <= MOST):
        found = f"{minimum}, at other hours {otherwise}"
        raise Refused(
            stop("minimum-out-of-range", row.code, f"Cannot keep {row.code} standing: {found}, must be 0 to {MOST}.")
        )
    hours = _hours(row.code, from_time.strip(), until_time.strip())
    fields = {"minimum": minimum, "from_time": hours[0], "until_time": hours[1], "otherwise": otherwise}
    standing, _ = StandingSet.objects.update_or_create(template=row, defaults=fields)
    return Done("keep_standing", "template", standing.pk, row.code, "", f"It is stated: {standing}.")


def _hours(template: str, from_time: str, until_time: str) -> tuple[time | None, time | None]:
    if not from_time and not until_time:
        return None, None
    try:
        start, end = time.fromisoformat(from_time), time.fromisoformat(until_time)
    except ValueError:
        start = end = time.min
    if start >= end:
        found = f"its hours are “{from_time}” to “{until_time}”, must be two times HH:MM, the earlier first."
        raise Refused(stop("hours-unreadable", template, f"Cannot keep {template} standing: {found}"))
    return start, end
