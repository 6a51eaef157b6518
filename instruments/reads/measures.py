"""Parts as the fit rules see them: which of their dimensions is the bore, and which the shaft."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from instruments.fit import Dimension, Measure, measured
from instruments.models import Part, PartKind

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
