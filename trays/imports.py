"""Importing templates, one row per line, and trays; exporting templates the same way."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from instruments.identity import Kind, read_own_code
from instruments.models import Part, Series
from instruments.writer import count_past, new_code
from journal.actions import Act, need
from journal.findings import Refused, stops
from journal.imports import Report, RowFault, import_table
from journal.models import Place
from journal.reads import policy
from journal.roles import Right
from journal.tables import Column, Fault, FaultyTable, Row, read_table, several, text, whole, write_table, yes_no
from trays.companions import SEAL, SHEATH
from trays.limits import BAR, LINES, QUANTITY, REASON
from trays.matching import Alternative, CompanionRule, SizeOf, Wanted, WantedLine
from trays.models import Template, TemplateVersion, Tray
from trays.reads import proof_of, wanted
from trays.reads.templates import size_of
from trays.states import VersionState
from trays.windows import window
from trays.writer import lock_template, new_draft, put_in_force

LONGEST_LIST = 10_000
"""Characters of a cell that holds several values."""

TEMPLATE_COLUMNS = (
    Column("template", text(20), required=True),
    Column("name", text(80), required=True),
    Column("position", whole(1, LINES), required=True),
    Column("part", text(30), required=True),
    Column("quantity", whole(*QUANTITY), default=1),
    Column("essential", yes_no, default=True),
    Column("substitutes", several, default=(), longest=LONGEST_LIST),
    Column("companions", several, default=(), longest=LONGEST_LIST),
)
"""Substitutes are written part:reason, in order of preference. Companions are written series,
series:planned size (with the size below and the size above), or series:first size:last size, with :sheath or
:seal when only these are wanted, on any line of the template."""

TRAY_COLUMNS = (
    Column("name", text(80), required=True),
    Column("template", text(20), required=True),
    Column("code", text(20), default=""),
    Column("home", text(20), default=""),
    Column("closed", yes_no, default=False),
)


def import_templates(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import templates; one whose lines differ from its published version gets the next version.

    A list must prove itself as it must on the page; a draft that is open is nobody's to overwrite.

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
    listed = _list(rows)
    template, created = Template.objects.get_or_create(code=first["template"], defaults={"name": first["name"]})
    lock_template(template.code)
    in_force = template.versions.filter(state=VersionState.PUBLISHED).first()
    if in_force is not None and wanted(in_force) == listed:
        return "same"
    if template.versions.filter(state=VersionState.DRAFT).exists():
        raise RowFault("template", template.code, "a template without an open draft: publish or discard it first")
    draft = new_draft(template, listed)
    proof = proof_of(draft)
    if forbids := stops(proof):
        raise Refused(*forbids)
    put_in_force(template, draft, note="imported", proof=proof, act=act)
    return "created" if created else "changed"


def read_list(data: bytes, template: str) -> Wanted:
    """The list of one template from a table.

    Raises:
        FaultyTable: a cell cannot be taken, or a row is of another template.
    """
    rows, faults = read_table(data, TEMPLATE_COLUMNS)
    others = [row for row in rows if row.values["template"] != template]
    faults += [Fault(row.line, "template", row.values["template"], f"{template}, as the draft's") for row in others]
    if faults:
        raise FaultyTable(faults)
    return _list(rows)


def export_lists(versions: Iterable[TemplateVersion]) -> str:
    """The lists of versions as a table that the import takes."""
    rows: list[tuple[object, ...]] = []
    for version in versions:
        listed = wanted(version)
        rules = BAR.join(_companions_cell(rule) for rule in listed.rules)
        for line in listed.lines:
            first = line is listed.lines[0]
            rows.append((version.template.code, version.template.name, *_cells(line), rules if first else ""))
    return write_table([column.name for column in TEMPLATE_COLUMNS], rows)


def _cells(line: WantedLine) -> tuple[object, ...]:
    substitutes = BAR.join(f"{other.part_code}:{other.reason}" for other in line.substitutes)
    return line.position, line.part_code, line.quantity, "yes" if line.essential else "no", substitutes


def _companions_cell(rule: CompanionRule) -> str:
    ends = [rule.sizes[0].label, rule.sizes[-1].label] if rule.sizes else []
    only = list(rule.kinds) if len(rule.kinds) == 1 else []
    return ":".join([rule.series, *ends, *only])


def _list(rows: Sequence[Row]) -> Wanted:
    """The rows of one template as a list.

    Raises:
        FaultyTable: cells do not fit the catalogue or each other.
    """
    faults: list[Fault] = []
    named = {row.values["part"] for row in rows}
    named |= {text.partition(":")[0].strip() for row in rows for text in row.values["substitutes"]}
    parts = {part.code: part for part in Part.objects.filter(code__in=named).select_related("size__series")}
    lines: dict[int, WantedLine] = {}
    rules: dict[str, CompanionRule] = {}
    for row in rows:
        try:
            line = _line(row, parts, lines)
            lines[line.position] = line
            for text in row.values["companions"]:
                rule = _rule(text, row, rules)
                rules[rule.series] = rule
        except RowFault as wrong:
            faults.append(Fault(row.line, wrong.column, wrong.found, wrong.expected))
    if faults:
        raise FaultyTable(faults)
    in_order = tuple(lines[position] for position in sorted(lines))
    return Wanted(in_order, tuple(rules[code] for code in sorted(rules)), float(policy("tray_mass_limit_g")))


def _line(row: Row, parts: Mapping[str, Part], so_far: Mapping[int, WantedLine]) -> WantedLine:
    values = row.values
    if values["position"] in so_far:
        raise RowFault("position", values["position"], "a position of its own in the template")
    part = _part("part", values["part"], parts)
    if any(line.part_code == part.code for line in so_far.values()):
        raise RowFault("part", values["part"], "on one line of the template only")
    others = tuple(_substitute(text, parts) for text in values["substitutes"])
    if len({part.code, *(other.part_code for other in others)}) <= len(others):
        raise RowFault("substitutes", BAR.join(values["substitutes"]), "other parts than the line's own, each once")
    return WantedLine(
        values["position"],
        part.code,
        part.name,
        values["quantity"],
        values["essential"],
        others,
        part.kind,
        size_of(part),
    )


def _substitute(text: str, parts: Mapping[str, Part]) -> Alternative:
    code, _, reason = (piece.strip() for piece in text.partition(":"))
    part = _part("substitutes", code, parts)
    if len(reason) > REASON or not reason.isprintable():
        raise RowFault(
            "substitutes", f"{reason[:40]} and so on", f"a reason of at most {REASON} characters in one line"
        )
    return Alternative(part.code, part.name, reason or "named as a substitute")


def _part(column: str, code: str, parts: Mapping[str, Part]) -> Part:
    if code not in parts:
        raise RowFault(column, code, "the code of a part in the catalogue")
    return parts[code]


def _rule(text: str, row: Row, so_far: Collection[str]) -> CompanionRule:
    """A rule as `series`, `series:planned` or `series:first:last`, with `:sheath` or `:seal` for that only."""
    code, *rest = [part.strip() for part in text.split(":")]
    only = rest.pop() if rest and rest[-1] in (SHEATH, SEAL) else ""
    series = Series.objects.filter(code=code).first()
    if series is None or len(rest) > 2:
        expected = "a series, series:planned size, or series:first size:last size"
        raise RowFault("companions", text, expected, line=row.line)
    if code in so_far:
        raise RowFault("companions", text, "a series once in the template")
    sizes = [SizeOf(code, size.order, size.label) for size in series.sizes.order_by("order")]
    labels = [size.label for size in sizes]
    if any(end not in labels for end in rest):
        raise RowFault("companions", text, f"sizes of the series: {', '.join(labels)}")
    if len(rest) == 1:
        near = window(sizes, rest[0]).sizes
        rest = [near[0].label, near[-1].label]
    first, last = (labels.index(end) for end in rest) if rest else (0, -1)
    if rest and first > last:
        raise RowFault("companions", text, "the smaller size first")
    return CompanionRule(code, series.name, tuple(sizes[first : last + 1]), only != SEAL, only != SHEATH)


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
