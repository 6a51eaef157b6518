"""What shafts leave open in a bore: area, hydraulic diameter, laminar resistance of an annulus.

Geometry and textbook flow, not ventilation advice: a patient's airway, the gas, the jet and leaks are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

PIPE_F_RE = 64.0  # Darcy friction factor times Reynolds number, laminar, round pipe (Hagen-Poiseuille)
SLOT_F_RE = 96.0  # the same between parallel plates: the limit of a thin annulus
THIN = 1e-4  # annulus thinner than this share of the bore's radius: the limit holds to 1e-9


def free_area_mm2(bore_mm: float, shafts_mm: Sequence[float]) -> float:
    """Cross-section of the bore that shafts do not take [mm²]; 0 where they take more than there is.

    Args:
        bore_mm: inner diameter [mm].
        shafts_mm: outer diameters [mm].
    """
    return math.pi / 4 * max(0.0, bore_mm**2 - sum(shaft**2 for shaft in shafts_mm))


def free_share(bore_mm: float, shafts_mm: Sequence[float]) -> float:
    """Free area as a share of the empty bore's, from 0 to 1.

    Args:
        bore_mm: inner diameter [mm].
        shafts_mm: outer diameters [mm].
    """
    return free_area_mm2(bore_mm, shafts_mm) / free_area_mm2(bore_mm, ())


def hydraulic_diameter_mm(bore_mm: float, shafts_mm: Sequence[float]) -> float:
    """Four times the free area over the wetted perimeter, bore and shafts together [mm].

    Args:
        bore_mm: inner diameter [mm].
        shafts_mm: outer diameters [mm].
    """
    return 4 * free_area_mm2(bore_mm, shafts_mm) / (math.pi * (bore_mm + sum(shafts_mm)))


def annulus_f_re(radius_ratio: float) -> float:
    """Darcy friction factor times Reynolds number of laminar flow between concentric tubes.

    Args:
        radius_ratio: inner over outer radius, above 0 and below 1.

    Returns:
        The product; Reynolds number on the hydraulic diameter.

    Raises:
        ValueError: the ratio is out of range.

    Source:
        64(1-k)²/[1 + k² + (1-k²)/ln k], which reproduces the textbook table for concentric annuli
        (the table from memory); the velocity profile is that of the transport-phenomena textbooks.
    """
    k = radius_ratio
    if not 0 < k < 1:
        raise ValueError(f"Cannot take a radius ratio of {k}: it must be above 0 and below 1.")
    thickness = 1 - k
    if thickness < THIN:
        return SLOT_F_RE
    return PIPE_F_RE * thickness**2 / (1 + k**2 + thickness * (1 + k) / math.log1p(-thickness))


def pressure_drop_ratio(bore_mm: float, shaft_mm: float) -> float:
    """Pressure drop along a bore with one shaft in it, over that of the empty bore at the same flow.

    For laminar flow of one gas and a shaft in the middle. A shaft that lies at the wall resists less, a
    turbulent or jet flow follows other laws, entry losses are left out; for more than one shaft there is
    no closed form and none is made up.

    Args:
        bore_mm: inner diameter [mm].
        shaft_mm: outer diameter [mm], above 0 and below the bore.

    Returns:
        The ratio, above 1.

    Raises:
        ValueError: the shaft is not thinner than the bore.
    """
    k = shaft_mm / bore_mm
    # At one flow the pressure drop goes with (f Re) / (area * hydraulic diameter squared).
    return annulus_f_re(k) / PIPE_F_RE / ((1 - k**2) * (1 - k) ** 2)


def least_pressure_drop_ratio(bore_mm: float, shafts_mm: Sequence[float]) -> float:
    """What the pressure drop is at least, over that of the empty bore at the same flow, wherever the shafts lie.

    Of all cross-sections of one area the round one lets most through in laminar flow, so that shafts which leave a
    share s of the bore open raise the drop at least 1/s²-fold. The true ratio is higher, often several times.

    Args:
        bore_mm: inner diameter [mm].
        shafts_mm: outer diameters [mm].

    Returns:
        The bound, from 1; infinite where nothing is left open.

    Source:
        Saint-Venant's inequality for torsion, whose equation is that of laminar flow; proof: G. Pólya, Quarterly
        of Applied Mathematics 6 (1948) 267 (from memory).
    """
    share = free_share(bore_mm, shafts_mm)
    return 1 / share**2 if share else math.inf
