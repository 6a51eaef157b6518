"""The tubes of a set-up with what lies in them: what is left open, and what that does to laminar flow."""

from __future__ import annotations

from dataclasses import dataclass

from instruments.airflow import least_pressure_drop_ratio, pressure_drop_ratio
from instruments.fit import CoPassage, Measure, co_passage
from instruments.mounting import Mounting, Tube


@dataclass(frozen=True, slots=True)
class Lumen:
    """A tube and what is in it, at nominal dimensions.

    Args:
        tube: the barrel, or the sheath in it.
        contents: what lies side by side in it.
        passage: required bore, open area and layout; None = something is not measured.
        drop_ratio: pressure drop over that of the empty bore, one shaft in the middle; None = not one thin shaft.
        least_drop_ratio: what that ratio is at least, wherever the shafts lie; None = not measured, or nothing open.
    """

    tube: Tube
    contents: tuple[Measure, ...]
    passage: CoPassage | None
    drop_ratio: float | None
    least_drop_ratio: float | None


def lumens_of(mounting: Mounting, gap_mm: float) -> tuple[Lumen, ...]:
    """Every tube that something is in.

    Args:
        mounting: what is put together.
        gap_mm: running gap between any two surfaces [mm], from 0.
    """
    return tuple(_lumen(tube, contents, gap_mm) for tube, contents in mounting.lumens)


def _lumen(tube: Tube, contents: tuple[Measure, ...], gap_mm: float) -> Lumen:
    shafts_mm = [shaft.size.nominal_mm for shaft in contents if shaft.size]
    if tube.bore is None or len(shafts_mm) < len(contents):
        return Lumen(tube, contents, None, None, None)
    bore_mm = tube.bore.nominal_mm
    passage = co_passage(bore_mm, shafts_mm, gap_mm)
    alone = len(shafts_mm) == 1 and shafts_mm[0] < bore_mm
    return Lumen(
        tube,
        contents,
        passage,
        pressure_drop_ratio(bore_mm, shafts_mm[0]) if alone else None,
        least_pressure_drop_ratio(bore_mm, shafts_mm) if passage.free_share else None,
    )
