"""Questions about residual protein: which washers are due for a check."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.utils import timezone

from instruments.models import Piece
from journal.reads import policy
from reprocessing.models import Load, Machine, ProteinCheck
from reprocessing.periodic import Demanded, Taken
from reprocessing.states import LoadState

NAME = "Residual protein"


def last_wash(piece: Piece, at: datetime) -> Load | None:
    """The load in which a piece was last washed and passed before a moment."""
    states = (LoadState.RELEASED, LoadState.RECALLED)
    passed = Load.objects.filter(load_pieces__piece=piece, state__in=states, decision__at__lte=at)
    return passed.select_related("machine").order_by("-decision__at", "-pk").first()


def protein_of_each(machines: Iterable[Machine], at: datetime) -> dict[int, Demanded]:
    """How each washer stands with the check of what it has cleaned, by its key; none where the unit asks for none."""
    every_days = int(policy("protein_check_days"))
    washers = [machine for machine in machines if machine.washes] if every_days else []
    if not washers:
        return {}
    latest: dict[int, Taken] = {}
    rows = ProteinCheck.objects.filter(load__machine__in=washers, at__lte=at).order_by("at", "pk")
    day_hour = int(policy("machine_day_hour"))
    for machine, passed, taken in rows.values_list("load__machine", "passed", "at"):
        latest[machine] = Taken(passed, timezone.localtime(taken))
    now = timezone.localtime(at)
    return {washer.pk: Demanded(NAME, every_days, False, latest.get(washer.pk), now, day_hour) for washer in washers}
