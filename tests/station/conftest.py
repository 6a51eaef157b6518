"""The clock of the stations under test."""

from __future__ import annotations

import pytest
from django.utils import timezone

from tests.station.desk import Clock


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """A clock that stands still until it is told to go on; half past twelve on the day of the makers."""
    clock = Clock()
    monkeypatch.setattr(timezone, "now", lambda: clock.at)
    return clock
