"""Questions about service and life: what is due, and what is in repair."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Q

from instruments.life import due_soon
from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.findings import Finding

AWAY = (PieceState.IN_REPAIR, PieceState.MISSING)
"""Nothing can be done about a piece that is not there."""


@dataclass(frozen=True, slots=True)
class ServiceRow:
    """A piece whose service or life is near its end, and what is said about it."""

    piece: Piece
    findings: tuple[Finding, ...]

    @property
    def by_service(self) -> bool:
        """Whether its service is due."""
        return any(finding.slug == "service-due-soon" for finding in self.findings)

    @property
    def by_life(self) -> bool:
        """Whether its cycles run out."""
        return any(finding.slug == "life-ends-soon" for finding in self.findings)

    @property
    def left(self) -> int:
        """Cycles of life that are left."""
        return max(0, (self.piece.part.life_limit or 0) - self.piece.cycles)


def service_plan(today: date, *, days: int, cycles_left: int) -> list[ServiceRow]:
    """Pieces whose service is due within `days`, or that have few cycles left; the most pressing first.

    Args:
        today: the day in the unit's time zone.
        days: how far ahead [d].
        cycles_left: how few cycles left are listed.
    """
    soon = Q(part__life_limit__isnull=False, cycles__gte=F("part__life_limit") - cycles_left)
    soon |= Q(service_due__lte=today + timedelta(days=days))
    pieces = Piece.objects.of_unit().filter(soon).exclude(state__in=AWAY).select_related("part", "place", "loan")
    rows = (
        ServiceRow(piece, due_soon(piece.wear, today, service_days=days, cycles_left=cycles_left)) for piece in pieces
    )
    return sorted(rows, key=lambda row: (row.piece.service_due or date.max, row.left, row.piece.code))


@dataclass(frozen=True, slots=True)
class RepairRow:
    """A piece in repair, and what was written when it left."""

    piece: Piece
    reason: str
    sent: Any
    to: str
    order: str
    overdue: bool


def last_repairs(pieces: Iterable[Piece]) -> dict[int, PieceLine]:
    """The line by which each piece last left for repair, in one query."""
    lines = PieceLine.objects.filter(piece__in=list(pieces), verb="send_to_repair").order_by("id")
    return {line.piece_id: line for line in lines}


def in_repair(today: date) -> list[RepairRow]:
    """Pieces in repair, the one expected first on top; what has no date comes last."""
    away = Piece.objects.filter(state=PieceState.IN_REPAIR).select_related("part")
    pieces = sorted(away, key=lambda piece: (piece.due_back or date.max, piece.code))
    lines = last_repairs(pieces)
    return [
        RepairRow(
            piece=piece,
            reason=lines[piece.pk].reason,
            sent=lines[piece.pk].occurred_at,
            to=lines[piece.pk].evidence.get("to", ""),
            order=lines[piece.pk].evidence.get("order", ""),
            overdue=piece.due_back is not None and piece.due_back < today,
        )
        for piece in pieces
    ]
