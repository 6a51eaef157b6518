"""Importing the catalogue: one row per part, with the dimensions of its kind."""

from __future__ import annotations

from typing import Any

from django.db import models

from instruments.models import (
    Adapter,
    Barrel,
    Base,
    BasePort,
    Forceps,
    Implant,
    Loader,
    LumenMaterial,
    Part,
    PartKind,
    PartLumen,
    Programme,
    Pusher,
    Seal,
    Series,
    Sheath,
    Size,
    Suction,
    Telescope,
    Validation,
)
from journal.actions import Act, need
from journal.imports import Report, RowFault, import_table
from journal.roles import Right
from journal.tables import Column, Row, choice, number, several, text, whole, yes_no

_LENGTH = number(over=0)
_TOLERANCE = number(0)

COLUMNS = (
    Column("code", text(30), required=True),
    Column("name", text(120), required=True),
    Column("kind", choice(*PartKind), required=True),
    Column("series", text(20), default=""),
    Column("size", text(20), default=""),
    Column("size_order", whole(1, 200)),
    Column("band", text(40), default=""),
    Column("mass_g", number(over=0)),
    Column("single_use", yes_no, default=False),
    Column("reprocess_unused", text(200), default=""),
    Column("life_limit", whole(1)),
    Column("service_days", whole(1, 3650)),
    Column("function_test", yes_no, default=False),
    Column("insulated", yes_no, default=False),
    Column("take_apart", text(200), default=""),
    Column("programmes", several, default=()),
    Column("lumens", several, default=()),
    Column("inner_mm", _LENGTH),
    Column("inner_tol_mm", _TOLERANCE, default=0),
    Column("outer_mm", _LENGTH),
    Column("outer_tol_mm", _TOLERANCE, default=0),
    Column("length_mm", _LENGTH),
    Column("shaft_mm", _LENGTH),
    Column("shaft_tol_mm", _TOLERANCE, default=0),
    Column("side_ports", yes_no, default=False),
    Column("coupling", text(40), default=""),
    Column("coupling_b", text(40), default=""),
    Column("stack_mm", _LENGTH),
    Column("ports", several, default=()),
    Column("fitting", text(40), default=""),
    Column("openings", whole(1, 6), default=1),
    Column("opening_mm", _LENGTH),
    Column("opening_tol_mm", _TOLERANCE, default=0),
    Column("thickness_mm", _LENGTH),
    Column("view_deg", whole(0, 120)),
    Column("lock", text(40), default=""),
    Column("optical", yes_no, default=False),
    Column("telescope_mm", _LENGTH),
    Column("telescope_length_mm", _LENGTH),
    Column("past_tip_mm", _LENGTH),
    Column("diameter_mm", _LENGTH),
    Column("compressed_mm", _LENGTH),
    Column("compressed_tol_mm", _TOLERANCE, default=0),
)

_DIMENSIONS: dict[str, tuple[type[models.Model], dict[str, str]]] = {
    PartKind.BARREL: (
        Barrel,
        {
            "inner_mm": "inner_mm",
            "inner_tol": "inner_tol_mm",
            "outer_mm": "outer_mm",
            "outer_tol": "outer_tol_mm",
            "length_mm": "length_mm",
            "side_ports": "side_ports",
            "coupling": "coupling",
        },
    ),
    PartKind.BASE: (Base, {"coupling": "coupling", "stack_mm": "stack_mm"}),
    PartKind.SEAL: (
        Seal,
        {
            "fitting": "fitting",
            "openings": "openings",
            "opening_mm": "opening_mm",
            "opening_tol": "opening_tol_mm",
            "thickness_mm": "thickness_mm",
        },
    ),
    PartKind.SHEATH: (
        Sheath,
        {
            "inner_mm": "inner_mm",
            "inner_tol": "inner_tol_mm",
            "outer_mm": "outer_mm",
            "outer_tol": "outer_tol_mm",
            "length_mm": "length_mm",
        },
    ),
    PartKind.TELESCOPE: (
        Telescope,
        {
            "shaft_mm": "shaft_mm",
            "shaft_tol": "shaft_tol_mm",
            "length_mm": "length_mm",
            "view_deg": "view_deg",
            "lock": "lock",
        },
    ),
    PartKind.FORCEPS: (
        Forceps,
        {
            "shaft_mm": "shaft_mm",
            "shaft_tol": "shaft_tol_mm",
            "length_mm": "length_mm",
            "optical": "optical",
            "telescope_mm": "telescope_mm",
            "telescope_length_mm": "telescope_length_mm",
            "view_deg": "view_deg",
            "lock": "lock",
        },
    ),
    PartKind.SUCTION: (
        Suction,
        {"shaft_mm": "shaft_mm", "shaft_tol": "shaft_tol_mm", "inner_mm": "inner_mm", "length_mm": "length_mm"},
    ),
    PartKind.LOADER: (
        Loader,
        {"inner_mm": "inner_mm", "inner_tol": "inner_tol_mm", "outer_mm": "outer_mm", "outer_tol": "outer_tol_mm"},
    ),
    PartKind.PUSHER: (
        Pusher,
        {
            "shaft_mm": "shaft_mm",
            "shaft_tol": "shaft_tol_mm",
            "length_mm": "length_mm",
            "past_tip_mm": "past_tip_mm",
        },
    ),
    PartKind.IMPLANT: (
        Implant,
        {
            "diameter_mm": "diameter_mm",
            "length_mm": "length_mm",
            "compressed_mm": "compressed_mm",
            "compressed_tol": "compressed_tol_mm",
        },
    ),
    PartKind.ADAPTER: (Adapter, {"coupling_a": "coupling", "coupling_b": "coupling_b"}),
}
"""For each kind its table, and which column fills which field."""

_DIMENSION_COLUMNS = {column for _, fields in _DIMENSIONS.values() for column in fields.values()} | {"ports"}
_PLAIN = (
    "name",
    "kind",
    "mass_g",
    "single_use",
    "reprocess_unused",
    "life_limit",
    "service_days",
    "function_test",
    "insulated",
    "take_apart",
)


def import_catalogue(data: bytes, *, dry_run: bool = False, keep_good: bool = False, act: Act) -> Report:
    """Import parts by their code; the columns are described in docs/imports.md.

    Raises:
        FaultyTable: rows have faults and `keep_good` is off; nothing was written.
        Refused: the person lacks the right to master data.
    """
    need(Right.MASTER, "import", "the catalogue", act)
    return import_table("Parts", data, COLUMNS, _take, dry_run=dry_run, keep_good=keep_good)


def _take(rows: list[Row]) -> str:
    values = rows[0].values
    _check(values)
    before = Part.objects.with_dimensions().filter(code=values["code"]).first()
    old = _facts(before) if before else None
    part, _ = Part.objects.update_or_create(
        code=values["code"], defaults={**{name: values[name] for name in _PLAIN}, "size": _size(values)}
    )
    _write_dimensions(part, values)
    _write_programmes(part, values["programmes"])
    _write_lumens(part, values["lumens"])
    if old is None:
        return "created"
    return "same" if old == _facts(Part.objects.with_dimensions().get(pk=part.pk)) else "changed"


def _check(values: Any) -> None:
    """What a single cell cannot tell: columns against the kind and against each other."""
    _check_kind(values)
    for small, large in (("inner_mm", "outer_mm"), ("telescope_mm", "shaft_mm"), ("inner_mm", "shaft_mm")):
        if values[small] and values[large] and values[small] >= values[large]:
            raise RowFault(small, values[small], f"under {large}, which is {values[large]}")
    if values["compressed_mm"] and values["diameter_mm"] and values["compressed_mm"] > values["diameter_mm"]:
        raise RowFault("compressed_mm", values["compressed_mm"], f"at most diameter_mm, {values['diameter_mm']}")
    for name in ("inner", "outer", "shaft", "opening", "compressed"):
        size, tolerance = values[f"{name}_mm"], values[f"{name}_tol_mm"]
        if size and tolerance >= size:
            raise RowFault(f"{name}_tol_mm", tolerance, f"under {name}_mm, which is {size}")
    if values["single_use"] and values["life_limit"]:
        raise RowFault("life_limit", values["life_limit"], "empty for a single-use part")


def _check_kind(values: Any) -> None:
    """A dimension of another kind is a slip of a column; an implant is single-use; an adapter bridges two."""
    kind = values["kind"]
    own = set(_DIMENSIONS[kind][1].values()) if kind in _DIMENSIONS else set()
    own |= {"ports"} if kind == PartKind.BASE else set()
    unset = {column.name: column.default for column in COLUMNS}
    for column in sorted(_DIMENSION_COLUMNS - own):
        if values[column] != unset[column]:
            raise RowFault(column, values[column], f"empty for a {kind}")
    if kind == PartKind.IMPLANT and not values["single_use"]:
        raise RowFault("single_use", "no", "yes for an implant")
    if kind == PartKind.ADAPTER and values["coupling"] == values["coupling_b"]:
        raise RowFault("coupling_b", values["coupling_b"], "another coupling than column coupling")


def _size(values: Any) -> Size | None:
    """The size named by series and label; entered when it is new."""
    if not values["series"] and not values["size"]:
        return None
    if not (values["series"] and values["size"]):
        raise RowFault("size", values["size"] or values["series"], "given together with series, or neither")
    series, _ = Series.objects.get_or_create(code=values["series"], defaults={"name": values["series"]})
    size = Size.objects.filter(series=series, label=values["size"]).first()
    order = values["size_order"]
    if size is None:
        if order is None or Size.objects.filter(series=series, order=order).exists():
            raise RowFault("size_order", order or "", f"a free place for the new size {values['size']}")
        return Size.objects.create(series=series, label=values["size"], order=order, band=values["band"])
    if order is not None and order != size.order:
        raise RowFault("size_order", order, f"{size.order}, the place of size {size.label}")
    return size


def _write_dimensions(part: Part, values: Any) -> None:
    for kind, (table, fields) in _DIMENSIONS.items():
        if kind != part.kind:
            table._default_manager.filter(part=part).delete()
            continue
        wanted = {field: values[column] for field, column in fields.items()}
        if "view_deg" in wanted and kind == PartKind.TELESCOPE:
            wanted["view_deg"] = wanted["view_deg"] or 0
        row, _ = table._default_manager.update_or_create(part=part, defaults=wanted)
        if isinstance(row, Base):
            _write_ports(row, values["ports"])


def _write_ports(base: Base, ports: tuple[str, ...]) -> None:
    """Ports are written name:fitting:bore_mm, then :axis for the one on the axis, or :way_mm for another."""
    base.ports.all().delete()
    for port in ports:
        parts = [part.strip() for part in port.split(":")]
        if len(parts) not in (3, 4):
            raise RowFault("ports", port, "name:fitting:bore_mm, and :axis for the port on the axis")
        on_axis = parts[3:] == ["axis"]
        try:
            bore, *way = [number(over=0)(part) for part in (parts[2:3] if on_axis else parts[2:])]
        except ValueError as wrong:
            raise RowFault("ports", port, f"a bore, and a length of the way or “axis”, that is {wrong}") from None
        way_mm = way[0] if way else None
        BasePort.objects.create(
            base=base, name=parts[0], fitting=parts[1], bore_mm=bore, on_axis=on_axis, way_mm=way_mm
        )


def _write_programmes(part: Part, codes: tuple[str, ...]) -> None:
    programmes = {programme.code: programme for programme in Programme.objects.filter(code__in=codes)}
    unknown = sorted(set(codes) - set(programmes))
    if unknown:
        known = ", ".join(Programme.objects.values_list("code", flat=True))
        raise RowFault("programmes", unknown[0], f"one of the programmes {known or '(none is entered yet)'}")
    part.validations.exclude(programme__code__in=codes).delete()
    for programme in programmes.values():
        Validation.objects.get_or_create(
            part=part, programme=programme, defaults={"source": "maker's instructions, as imported"}
        )


def _write_lumens(part: Part, lumens: tuple[str, ...]) -> None:
    """Lumens are written inner_mm:length_mm:count:material."""
    part.lumens.all().delete()
    for lumen in lumens:
        cells = [cell.strip() for cell in lumen.split(":")]
        try:
            inner, length, count, material = cells
            row = PartLumen(
                part=part,
                inner_mm=float(_LENGTH(inner)),
                length_mm=float(_LENGTH(length)),
                count=whole(1, 99)(count),
                material=choice(*LumenMaterial)(material),
            )
        except ValueError as wrong:
            wanted = f"inner_mm:length_mm:count:material, material {' or '.join(LumenMaterial)} ({wrong})"
            raise RowFault("lumens", lumen, wanted) from None
        row.save()


def _facts(part: Part) -> dict[str, Any]:
    """Everything the import writes of a part, for telling changed from same."""
    facts: dict[str, Any] = {name: getattr(part, name) for name in (*_PLAIN, "size_id")}
    if part.kind in _DIMENSIONS:
        table, fields = _DIMENSIONS[part.kind]
        row = table._default_manager.filter(part=part).values(*fields).first()
        facts["dimensions"] = row
    ports = BasePort.objects.filter(base_id=part.pk).order_by("name")
    facts["ports"] = list(ports.values_list("name", "fitting", "bore_mm", "on_axis", "way_mm"))
    facts["lumens"] = list(part.lumens.order_by("id").values_list("inner_mm", "length_mm", "count", "material"))
    facts["programmes"] = sorted(part.validations.values_list("programme__code", flat=True))
    return facts
