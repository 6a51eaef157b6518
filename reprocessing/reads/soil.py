"""How long the pieces of a washer load have waited since their return."""

from __future__ import annotations

from datetime import datetime

from instruments.models import PieceLine
from journal.reads import policy
from reprocessing.models import Load
from reprocessing.soil import Soil


def soil_of(load: Load, at: datetime) -> Soil | None:
    """The longest wait in a load until its start, or until now; None when nothing came back since its last wash."""
    lines = PieceLine.objects.filter(piece__load_pieces__load=load, verb__in=["take_back", "pass_wash"])
    if load.started_at is not None:
        lines = lines.filter(occurred_at__lte=load.started_at)
    last = {
        piece: (verb, came)
        for piece, verb, came in lines.order_by("id").values_list("piece__code", "verb", "occurred_at")
    }
    back = [(came, piece) for piece, (verb, came) in last.items() if verb == "take_back"]
    if not back:
        return None
    since, piece = min(back)
    return Soil(piece, since, load.started_at or at, int(policy("time_to_clean_min")))
