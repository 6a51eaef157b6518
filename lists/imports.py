"""Importing procedures with their needs, and a day's list."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.utils import timezone

from instruments.models import Part
from journal.actions import Act, need
from journal.imports import Report, RowFault, import_table
from journal.roles import Right
from journal.tables import Column, Row, clock, several, text, whole
from lists.actions import plan_case
from lists.models import Case, Procedure, ProcedureNeed, Theatre
from trays.models import Template

PROCEDURE_COLUMNS = (
    Column("code", text(20), required=True),
    Column("name", text(100), required=True),
    Column("needs", several, required=True),
)
"""Needs are written template:CODE or part:CODE, with :quantity where it is not one."""

LIST_COLUMNS = (
    Column("reference", text(40), required=True),
    Column("theatre", text(20), required=True),
    Column("start", clock, required=True),
    Column("duration_min", whole(1, 1440), required=True),
    Column("procedure", text(20), required=True),
    Column("planned_size", text(20), default=""),
    Column("patient_ref", text(64), default=""),
)


def import_procedures(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import procedures and their standard needs, found again by code.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "procedures", act)
    return import_table("Procedures", data, PROCEDURE_COLUMNS, _take_procedure, dry_run=dry_run, keep_good=keep_good)


def _take_procedure(rows: list[Row]) -> str:
    values = rows[0].values
    wanted = sorted(_need(text_of_need) for text_of_need in values["needs"])
    procedure, created = Procedure.objects.get_or_create(code=values["code"], defaults={"name": values["name"]})
    present = sorted(
        (row.template.code if row.template else "", row.part.code if row.part else "", row.quantity)
        for row in procedure.needs.select_related("template", "part")
    )
    if not created and procedure.name == values["name"] and present == wanted:
        return "same"
    Procedure.objects.filter(pk=procedure.pk).update(name=values["name"])
    procedure.needs.all().delete()
    for template, part, quantity in wanted:
        ProcedureNeed.objects.create(
            procedure=procedure,
            template=Template.objects.get(code=template) if template else None,
            part=Part.objects.get(code=part) if part else None,
            quantity=quantity,
        )
    return "created" if created else "changed"


def _need(text_of_need: str) -> tuple[str, str, int]:
    """A need as (template code, part code, quantity), one of the codes being empty."""
    kind, _, rest = text_of_need.partition(":")
    code, _, quantity = rest.partition(":")
    known = {"template": Template.objects.filter(code=code), "part": Part.objects.filter(code=code)}
    if kind not in known or (quantity and not quantity.isdecimal()) or quantity == "0":
        raise RowFault("needs", text_of_need, "template:CODE or part:CODE, and :quantity where it is not one")
    if not known[kind].exists():
        raise RowFault("needs", text_of_need, f"the code of a {kind}")
    return (code if kind == "template" else "", code if kind == "part" else "", int(quantity or 1))


def import_list(
    data: bytes, *, day: date | None = None, dry_run: bool = False, keep_good: bool = False, act: Act
) -> Report:
    """Import cases, found again by their reference; `day` is for starts that are written as a clock time only.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to plan.
    """
    need(Right.PLAN, "import", "a list", act)
    return import_table(
        "Cases", data, LIST_COLUMNS, lambda rows: _take_case(rows[0], day, act), dry_run=dry_run, keep_good=keep_good
    )


def _take_case(row: Row, day: date | None, act: Act) -> str:
    values = dict(row.values)
    _known("theatre", Theatre, values["theatre"])
    _known("procedure", Procedure, values["procedure"])
    values["starts_at"] = _start(values.pop("start"), day)
    before = _facts(values["reference"])
    plan_case(**values, act=act)
    if before is None:
        return "created"
    return "same" if before == _facts(values["reference"]) else "changed"


def _known(column: str, model: Any, code: str) -> None:
    if not model.objects.filter(code=code).exists():
        raise RowFault(column, code, f"the code of a {column}")


def _start(moment: datetime, day: date | None) -> datetime:
    if moment.year == 1:
        if day is None:
            raise RowFault("start", f"{moment:%H:%M}", "written with its day, or the import told the day (--day)")
        moment = datetime.combine(day, moment.time())
    return timezone.make_aware(moment)


def _facts(reference: str) -> tuple[Any, ...] | None:
    return (
        Case.objects.filter(reference=reference)
        .values_list("list", "procedure", "starts_at", "duration_min", "planned_size", "patient_ref")
        .first()
    )
