"""How a notice climbs that nobody takes on: from its own role to the coordinator, then to the quality lead."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from journal.roles import Role

RUNGS: Mapping[int, Role] = {1: Role.COORDINATOR, 2: Role.QUALITY}
"""To whom a notice climbs; rung 0 is the role that it is for."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a notice waits.

    Args:
        waits: for each rung, how long nobody took it on before it climbs there.
        quiet: how long an acknowledged notice does not climb.

    Raises:
        ValueError: a time is below zero, or a rung has none.
    """

    waits: Mapping[int, timedelta]
    quiet: timedelta

    def __post_init__(self) -> None:
        if set(self.waits) != set(RUNGS) or min(*self.waits.values(), self.quiet) < timedelta(0):
            raise ValueError("Cannot let a notice climb: each rung needs a time of 0 or more.")


def rung_due(
    role: Role, rung: int, *, since: datetime, acknowledged_at: datetime | None, at: datetime, patience: Patience
) -> int:
    """The rung on which a notice should stand now: one higher at most, and never on one of its own role.

    Args:
        role: whom it is for.
        rung: where it stands.
        since: when it was opened, or climbed there.
        acknowledged_at: when somebody last took it on; None when nobody has.
        at: the moment of asking.
        patience: the unit's times.

    Returns:
        The same rung, or the next.
    """
    own = next((number for number, of in RUNGS.items() if of == role), 0)
    following = max(rung, own) + 1
    if following not in RUNGS:
        return rung
    quiet_until = acknowledged_at + patience.quiet if acknowledged_at else since
    return following if at >= max(since + patience.waits[following], quiet_until) else rung
