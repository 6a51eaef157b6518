"""Jobs on pieces: whose life or service date is near."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from celery import shared_task
from django.db.models import F, Q
from django.utils import timezone

from instruments.life import due_soon
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Concern, tell
from journal.reads import policy
from journal.roles import Role

AWAY = (PieceState.IN_REPAIR, PieceState.MISSING)
"""Nothing can be done about a piece that is not there."""


@shared_task
def watch_life() -> None:
    """Tell the technicians which pieces will soon be past their life limit or service date."""
    at = timezone.now()
    tell("life", _near_their_end(at), at=at)


def _near_their_end(at: datetime) -> Iterator[Concern]:
    today = timezone.localdate(at)
    cycles_left, service_days = int(policy("cycles_left_soon")), int(policy("service_soon_days"))
    soon = Q(part__life_limit__isnull=False, cycles__gte=F("part__life_limit") - cycles_left)
    soon |= Q(service_due__lte=today + timedelta(days=service_days))
    pieces = Piece.objects.of_unit().filter(soon).exclude(state__in=AWAY).select_related("part")
    for piece in pieces:
        for finding in due_soon(piece.wear, today, service_days=service_days, cycles_left=cycles_left):
            yield Concern(
                cause=f"{finding.slug}:{piece.code}",
                role=Role.TECHNICIAN,
                sentence=finding.sentence,
                remedy=finding.remedy,
                link=f"/pieces/{piece.code}/",
            )
