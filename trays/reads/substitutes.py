"""How a substitute goes with the barrels that lie on a tray."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from django.db.models import Exists, OuterRef, Q

from instruments.fit import WORST_FIRST
from instruments.models import Part, PartKind
from instruments.reads import fit_limits, judge_with_barrel
from instruments.rulings import Limits
from trays.models import Placement, Tray


def fit_on(tray: Tray, part_codes: Collection[str]) -> dict[str, str]:
    """For each part its verdict with each barrel on a tray, in words: “fits 7.5, 8.0; tight 8.5”.

    A base on the tray is taken to be between them. Without a barrel there is nothing to say. The number of
    queries does not grow with the parts.

    Args:
        tray: the tray.
        part_codes: the substitutes in question.
    """
    if not part_codes:
        return {}
    lies = Exists(Placement.objects.filter(tray=tray, piece__part=OuterRef("pk")))
    between = Q(lies=True, kind__in=[PartKind.BARREL, PartKind.BASE])
    asked = Part.objects.with_dimensions().annotate(lies=lies).filter(Q(code__in=part_codes) | between)
    rows: list[Any] = list(asked.prefetch_related("base__ports"))
    barrels = [row for row in rows if row.lies and row.kind == PartKind.BARREL]
    base = next((row for row in rows if row.lies and row.kind == PartKind.BASE), None)
    if not barrels:
        return {}
    limits = fit_limits()
    return {row.code: _words(row, barrels, base, limits) for row in rows if row.code in part_codes}


def _words(part: Part, barrels: Sequence[Part], base: Part | None, limits: Limits) -> str:
    verdicts: dict[str, list[str]] = {}
    for barrel in sorted(barrels, key=lambda barrel: (barrel.size.order if barrel.size else 0, barrel.name)):
        judged = judge_with_barrel(part, barrel, limits, base=base)
        if judged.findings:  # without one, no rule asks about such a part
            verdicts.setdefault(judged.fit, []).append(barrel.size.label if barrel.size else barrel.name)
    best_first = sorted(verdicts.items(), key=lambda verdict: -WORST_FIRST.index(verdict[0]))
    return "; ".join(f"{fit} {', '.join(names)}" for fit, names in best_first)
