"""Parts as the fit rules see them: which of their dimensions is the bore, and which the shaft."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from instruments.fit import Dimension, Measure, measured
from instruments.models import Part, PartKind
from instruments.outlines import Shape

_BORES: dict[str, str] = {PartKind.BARREL: "inner", PartKind.SHEATH: "inner", PartKind.LOADER: "inner"}
_SHAFTS: dict[str, str] = {
    PartKind.BARREL: "outer",
    PartKind.SHEATH: "outer",
    PartKind.LOADER: "outer",
    PartKind.TELESCOPE: "shaft",
    PartKind.FORCEPS: "shaft",
    PartKind.SUCTION: "shaft",
    PartKind.PUSHER: "shaft",
    PartKind.IMPLANT: "compressed",
}
BORE_KINDS = tuple(_BORES)
SHAFT_KINDS = tuple(_SHAFTS)


def bore_of(part: Part) -> Measure:
    """What can be passed through a part: its inner diameter; not measured where it has none."""
    return Measure(part.name, _dimension(part, _BORES.get(part.kind)))


def shaft_of(part: Part) -> Measure:
    """What a part takes up in a bore: its outer diameter, or its greatest insertion width."""
    return Measure(part.name, _dimension(part, _SHAFTS.get(part.kind)))


def _dimension(part: Part, name: str | None) -> Dimension | None:
    row: Any = getattr(part, part.kind, None) if name else None
    return measured(getattr(row, f"{name}_mm"), getattr(row, f"{name}_tol")) if row else None


_WORDS = {
    "inner_mm": "Inner diameter",
    "outer_mm": "Outer diameter",
    "shaft_mm": "Shaft diameter",
    "length_mm": "Length",
    "opening_mm": "Opening",
    "thickness_mm": "Thickness",
    "stack_mm": "Adds on the axis",
    "telescope_mm": "Takes a telescope of",
    "telescope_length_mm": "Takes a telescope of length",
    "past_tip_mm": "Must pass the sheath’s tip by",
    "diameter_mm": "Diameter",
    "compressed_mm": "Compressed diameter",
    "coupling": "Coupling",
    "coupling_a": "Coupling",
    "coupling_b": "Other coupling",
    "fitting": "Fitting",
    "openings": "Openings",
    "lock": "Lock",
    "view_deg": "Direction of view",
    "side_ports": "Side ports",
    "optical": "Carries a telescope",
}
_UNITS = {"_mm": "mm", "_deg": "°"}


def dimensions_of(part: Part) -> Iterator[tuple[str, Any, Any, str]]:
    """A part's dimensions for its page: name in words, value, tolerance (None where it has none), unit."""
    row: Any = getattr(part, part.kind, None)
    if row is None:
        return
    for field in row._meta.fields:
        if field.name in _WORDS:
            unit = next((unit for end, unit in _UNITS.items() if field.name.endswith(end)), "")
            tolerance = getattr(row, field.name.replace("_mm", "_tol"), None) if unit == "mm" else None
            yield _WORDS[field.name], getattr(row, field.name), tolerance, unit


_LENGTHS: dict[str, tuple[str, ...]] = {
    "length_mm": ("length_mm", "stack_mm"),
    "outer_mm": ("outer_mm", "shaft_mm", "diameter_mm"),
    "inner_mm": ("inner_mm", "opening_mm"),
}


def shape_of(part: Part) -> Shape:
    """What is known of a part's shape, for its outline; read it with its dimensions and the ports of its base."""
    row: Any = getattr(part, part.kind, None)
    lengths = {name: _first(row, fields) for name, fields in _LENGTHS.items()}
    ports = (
        sorted(row.ports.all(), key=lambda port: (not port.on_axis, port.pk))
        if row and part.kind == PartKind.BASE
        else ()
    )
    return Shape(
        kind=part.kind,
        **lengths,
        ports_mm=tuple(None if port.bore_mm is None else float(port.bore_mm) for port in ports),
        openings=getattr(row, "openings", 0),
        view_deg=(getattr(row, "view_deg", 0) or 0) if part.kind == PartKind.TELESCOPE else 0,
        side_ports=getattr(row, "side_ports", False),
    )


def _first(row: Any, fields: tuple[str, ...]) -> float | None:
    """The length under whichever of these names the kind has it."""
    found = next((getattr(row, name) for name in fields if hasattr(row, name)), None)
    return None if found is None else float(found)
