"""Questions to the journal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import models
from django.db.models import Count, Exists, Max, Min, OuterRef

from journal.append_only import growing
from journal.models import Channel, Delivery, Head, Line, PolicySetting, SealedLeaf, Station
from journal.policies import POLICIES, PolicyValue


def policies() -> dict[str, PolicyValue]:
    """Every policy in force, in one query."""
    values: dict[str, PolicyValue] = {name: row.default for name, row in POLICIES.items()}
    values.update(PolicySetting.objects.values_list("name", "value"))
    return values


def policy(name: str) -> PolicyValue:
    """One policy in force.

    Raises:
        KeyError: no such policy.
    """
    default = POLICIES[name].default
    own = PolicySetting.objects.filter(name=name).values_list("value", flat=True).first()
    return default if own is None else own


def sealed_models() -> dict[str, type[models.Model]]:
    """What is sealed, by table: everything that only grows, save the seals themselves."""
    seals = (Head, SealedLeaf)
    return {table: model for table, model in growing().items() if model not in seals}


def trail_mark() -> str:
    """The newest line of each trail, as one text: it stays the same as long as nothing is recorded."""
    newest = {
        lines.SUBJECT: lines._default_manager.aggregate(last=Max("pk"))["last"] for lines in Line.__subclasses__()
    }
    return " ".join(f"{subject} {last or 0}" for subject, last in sorted(newest.items()))


def unsealed(table: str) -> models.QuerySet[models.Model]:
    """The rows of a table that no head covers, in order of their keys.

    Asked row by row and not "after the last sealed key": on PostgreSQL a transaction may commit a lower key
    after a higher one was sealed, and its row must not be passed over.
    """
    leaves = SealedLeaf.objects.filter(table=table, row=OuterRef("pk"))
    return sealed_models()[table]._default_manager.filter(~Exists(leaves)).order_by("pk")


TAIL_MOST = timedelta(minutes=5)
"""A line that waits longer for its seal is told to the quality lead."""


@dataclass(frozen=True, slots=True)
class Tail:
    """What is not sealed yet: how many rows, and when the oldest line among them was received."""

    rows: int
    since: datetime | None

    def age(self, at: datetime) -> timedelta:
        """How long its oldest line has been waiting."""
        return max(at - self.since, timedelta(0)) if self.since else timedelta(0)


def tail() -> Tail:
    """The unsealed end of the trail."""
    rows, moments = 0, []
    for table, model in sealed_models().items():
        asked: dict[str, Any] = {"number": Count("pk")}
        if issubclass(model, Line):
            asked["since"] = Min("received_at")
        found = unsealed(table).order_by().aggregate(**asked)
        rows += found["number"]
        moments.append(found.get("since"))
    return Tail(rows, min((moment for moment in moments if moment), default=None))


def seals_of(lines: Sequence[Line]) -> dict[int, SealedLeaf]:
    """The seal of each line of one table, by the line's key; what is not sealed yet is left out."""
    if not lines:
        return {}
    table = lines[0]._meta.db_table
    found = SealedLeaf.objects.filter(table=table, row__in=[line.pk for line in lines]).select_related("head")
    return {seal.row: seal for seal in found}


def scanner_trusted(station: Station, at: datetime) -> bool:
    """Whether a station's scanner passed its last check, and that check still counts."""
    last = station.scanner
    if last is None or not last.passed:
        return False
    return at - last.at <= timedelta(hours=float(policy("scanner_check_h")))


UNSENT_DAYS = 7
"""What could not be sent is told of and shown for so long."""


def unsent(at: datetime) -> models.QuerySet[Delivery]:
    """What could not be sent of late, of notices that are open still, on channels in use."""
    since = at - timedelta(days=UNSENT_DAYS)
    rows: models.QuerySet[Delivery] = Delivery.objects.unsent().filter(
        given_up_at__gte=since, notice__closed_at=None, channel__closed_at=None
    )
    return rows


def failing_channels(at: datetime) -> list[tuple[Channel, int]]:
    """Channels with what could not be sent, and how many notices that is."""
    numbers = dict(unsent(at).order_by().values_list("channel").annotate(number=Count("pk")))
    return [(channel, numbers[channel.pk]) for channel in Channel.objects.filter(pk__in=numbers)]
