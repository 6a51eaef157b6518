"""Importing procedures with their needs, what operators ask for, and a day's list."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.utils import timezone

from journal.actions import Act, need
from journal.imports import Report, RowFault, import_table
from journal.roles import Right
from journal.tables import Column, Row, clock, several, text, whole
from lists.actions import plan_case, state_needs
from lists.actions.stating import NAMED
from lists.models import Case, NeedsVersion, Procedure, Theatre
from lists.requirements import EXPECTED, parse

PROCEDURE_COLUMNS = (
    Column("code", text(20), required=True),
    Column("name", text(100), required=True),
    Column("needs", several, required=True),
)

OPERATOR_COLUMNS = (
    Column("operator", text(20), required=True),
    Column("procedure", text(20), default=""),
    Column("needs", several, default=()),
)
"""Needs are written as `lists.requirements.parse` reads them."""

LIST_COLUMNS = (
    Column("reference", text(40), required=True),
    Column("theatre", text(20), required=True),
    Column("start", clock, required=True),
    Column("duration_min", whole(1, 1440), required=True),
    Column("procedure", text(20), required=True),
    Column("planned_size", text(20), default=""),
    Column("planned_implant", text(20), default=""),
    Column("operator", text(20), default=""),
    Column("patient_ref", text(64), default=""),
)


def import_procedures(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import procedures and their standard needs, found again by code.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "procedures", act)
    return import_table(
        "Procedures",
        data,
        PROCEDURE_COLUMNS,
        lambda rows: _take_procedure(rows[0], act),
        dry_run=dry_run,
        keep_good=keep_good,
    )


def _take_procedure(row: Row, act: Act) -> str:
    values = row.values
    _readable(values["needs"])
    procedure, created = Procedure.objects.get_or_create(code=values["code"], defaults={"name": values["name"]})
    renamed = Procedure.objects.filter(pk=procedure.pk).exclude(name=values["name"]).update(name=values["name"])
    before = procedure.versions.count()
    state_needs(values["needs"], procedure=procedure.code, act=act)
    if created:
        return "created"
    return "changed" if renamed or procedure.versions.count() > before else "same"


def _readable(needs: tuple[str, ...]) -> None:
    """Each need names a thing that there is."""
    for text_of_need in needs:
        try:
            one = parse(text_of_need)
        except ValueError as wrong:
            raise RowFault("needs", text_of_need, EXPECTED) from wrong
        if one.kind in NAMED:
            kind, model = NAMED[one.kind]
            if not model._default_manager.filter(code=one.code).exists():
                raise RowFault("needs", text_of_need, f"the code of a {kind}")


def import_operators(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import what operators ask for beside the standard, found again by operator and procedure.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "operators", act)
    return import_table(
        "Operators",
        data,
        OPERATOR_COLUMNS,
        lambda rows: _take_operator(rows[0], act),
        dry_run=dry_run,
        keep_good=keep_good,
    )


def _take_operator(row: Row, act: Act) -> str:
    values = row.values
    _readable(values["needs"])
    if values["procedure"]:
        _known("procedure", Procedure, values["procedure"])
    versions = NeedsVersion.objects.filter(operator=values["operator"])
    held = (
        versions.filter(procedure__code=values["procedure"])
        if values["procedure"]
        else versions.filter(procedure=None)
    )
    before = held.count()
    state_needs(values["needs"], procedure=values["procedure"], operator=values["operator"], act=act)
    if not before:
        return "created"
    return "changed" if held.count() > before else "same"


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
        .values_list(
            "list",
            "procedure",
            "starts_at",
            "duration_min",
            "planned_size",
            "planned_implant",
            "operator",
            "patient_ref",
        )
        .first()
    )
