"""Importing templates, one row per line, and trays."""

from __future__ import annotations

from typing import Any

from instruments.identity import Kind, read_own_code
from instruments.models import Part, Series, Size
from instruments.writer import count_past, new_code
from journal.actions import Act, need
from journal.imports import Report, RowFault, import_table
from journal.models import Place
from journal.roles import Right
from journal.tables import Column, Row, several, text, whole, yes_no
from trays.companions import SizeOf
from trays.models import SeriesRule, Substitute, Template, TemplateLine, TemplateVersion, Tray
from trays.states import VersionState
from trays.windows import window

TEMPLATE_COLUMNS = (
    Column("template", text(20), required=True),
    Column("name", text(80), required=True),
    Column("position", whole(1, 500), required=True),
    Column("part", text(30), required=True),
    Column("quantity", whole(1, 50), default=1),
    Column("essential", yes_no, default=True),
    Column("substitutes", several, default=()),
    Column("companions", several, default=()),
)
"""Substitutes are written part:reason, in order of preference. Companions are written series,
series:planned size (with the size below and the size above), or series:first size:last size, on any line of
the template."""

TRAY_COLUMNS = (
    Column("name", text(80), required=True),
    Column("template", text(20), required=True),
    Column("code", text(20), default=""),
    Column("home", text(20), default=""),
    Column("closed", yes_no, default=False),
)


def import_templates(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import templates; one whose lines differ from its published version gets the next version.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "templates", act)
    return import_table(
        "Templates",
        data,
        TEMPLATE_COLUMNS,
        lambda rows: _take_template(rows, act),
        together="template",
        dry_run=dry_run,
        keep_good=keep_good,
    )


def _take_template(rows: list[Row], act: Act) -> str:
    first = rows[0].values
    template, created = Template.objects.get_or_create(code=first["template"], defaults={"name": first["name"]})
    old = template.versions.filter(state=VersionState.PUBLISHED).first()
    version = TemplateVersion.objects.create(
        template=template, number=1 + max([*template.versions.values_list("number", flat=True), 0]), note="imported"
    )
    for row in rows:
        _add_line(version, row)
    if old is not None and contents_of(old) == contents_of(version):
        version.delete()
        return "same"
    template.versions.filter(state=VersionState.PUBLISHED).update(state=VersionState.SUPERSEDED)
    TemplateVersion.objects.filter(pk=version.pk).update(state=VersionState.PUBLISHED, published_at=act.at)
    return "created" if created else "changed"


def contents_of(version: TemplateVersion) -> tuple[Any, ...]:
    """Lines, substitutes and series rules of a version as plain values, for comparing two."""
    lines = version.lines.order_by("position").values_list("pk", "position", "part__code", "quantity", "essential")
    substitutes = Substitute.objects.filter(line__version=version).order_by("line__position", "rank")
    rules = version.series_rules.order_by("series__code")
    return (
        [line[1:] for line in lines],
        list(substitutes.values_list("line__position", "part__code", "reason")),
        list(rules.values_list("series__code", "first_order", "last_order")),
    )


def _add_line(version: TemplateVersion, row: Row) -> None:
    values = row.values
    if version.lines.filter(position=values["position"]).exists():
        raise RowFault("position", values["position"], "a position of its own in the template", line=row.line)
    part = _part("part", values["part"], row)
    if version.lines.filter(part=part).exists():
        raise RowFault("part", values["part"], "on one line of the template only", line=row.line)
    line = TemplateLine.objects.create(
        version=version,
        position=values["position"],
        part=part,
        quantity=values["quantity"],
        essential=values["essential"],
    )
    for rank, substitute in enumerate(values["substitutes"], start=1):
        code, _, reason = substitute.partition(":")
        Substitute.objects.create(
            line=line,
            part=_part("substitutes", code.strip(), row),
            rank=rank,
            reason=reason.strip() or "named as a substitute",
        )
    for companions in values["companions"]:
        _add_rule(version, companions, row)


def _part(column: str, code: str, row: Row) -> Part:
    part = Part.objects.filter(code=code).first()
    if part is None:
        raise RowFault(column, code, "the code of a part in the catalogue", line=row.line)
    return part


def _add_rule(version: TemplateVersion, companions: str, row: Row) -> None:
    code, *ends = [part.strip() for part in companions.split(":")]
    series = Series.objects.filter(code=code).first()
    if series is None or len(ends) > 2:
        must_be = "a series, series:planned size, or series:first size:last size"
        raise RowFault("companions", companions, must_be, line=row.line)
    orders = dict(Size.objects.filter(series=series).values_list("label", "order"))
    unknown = [end for end in ends if end not in orders]
    if unknown:
        raise RowFault("companions", companions, f"sizes of the series: {', '.join(orders)}", line=row.line)
    if len(ends) == 1:
        near = window((SizeOf(code, order, label) for label, order in orders.items()), ends[0]).sizes
        ends = [near[0].label, near[-1].label]
    first, last = [orders[end] for end in ends] or (None, None)
    if first is not None and last is not None and first > last:
        raise RowFault("companions", companions, "the smaller size first", line=row.line)
    SeriesRule.objects.create(version=version, series=series, first_order=first, last_order=last)


def import_trays(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import trays, found again by code, or by name where none is given.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "trays", act)
    return import_table("Trays", data, TRAY_COLUMNS, _take_tray, dry_run=dry_run, keep_good=keep_good)


def _take_tray(rows: list[Row]) -> str:
    values = rows[0].values
    fields = {
        "name": values["name"],
        "closed": values["closed"],
        "template": Template.objects.filter(code=values["template"]).first(),
        "home": Place.objects.filter(code=values["home"]).first() if values["home"] else None,
    }
    if fields["template"] is None:
        raise RowFault("template", values["template"], "the code of a template")
    if values["home"] and fields["home"] is None:
        raise RowFault("home", values["home"], "the code of a place of the unit")
    code = _tray_code(values["code"])
    tray = Tray.objects.filter(**({"code": code} if code else {"name": values["name"]})).first()
    if tray is None:
        Tray.objects.create(code=code or new_code(Kind.TRAY), **fields)
        return "created"
    if all(getattr(tray, name) == value for name, value in fields.items()):
        return "same"
    Tray.objects.filter(pk=tray.pk).update(**fields)
    return "changed"


def _tray_code(code: str) -> str:
    if not code:
        return ""
    try:
        own = read_own_code(code)
    except ValueError as wrong:
        raise RowFault("code", code, f"a code of our own ({wrong})") from None
    if own.kind is not Kind.TRAY:
        raise RowFault("code", code, "a tray's code, beginning with T")
    count_past(own)
    return own.text
