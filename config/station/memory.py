"""What a station remembers from scan to scan: what it carries, and the answers of this run. Kept in the session."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from django.contrib.sessions.backends.base import SessionBase

from config.station.answers import Answer, Held, Result

SESSION = "scan"
KEPT = 20
"""Answers of a run that are kept: a scan sent again gets back its own."""
SHOWN = 9
"""Answers of a run that are shown."""
FRESH = timedelta(minutes=2)
"""So long an answer stands as the one of now."""


class Memory:
    """What one kind of work remembers in this session."""

    def __init__(self, session: SessionBase, mode: str) -> None:
        self._session = session
        self._mode = mode
        self._kept: dict[str, Any] = session.get(SESSION, {}).get(mode, {})

    @property
    def held(self) -> Held:
        """What the work carries."""
        return dict(self._kept.get("held", {}))

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The answers of this run, newest first; each with `at`, a moment."""
        return [{**row, "at": datetime.fromisoformat(row["at"])} for row in self._kept.get("rows", [])]

    @property
    def done(self) -> list[dict[str, Any]]:
        """The last answers of this run that are more than a question, newest first."""
        return [row for row in self.rows if not row["asks"]][:SHOWN]

    @property
    def count(self) -> int:
        """How much this run has done."""
        return int(self._kept.get("count", 0))

    def now(self, at: datetime) -> dict[str, Any] | None:
        """The last answer while it is fresh."""
        return next((row for row in self.rows[:1] if at - row["at"] <= FRESH), None)

    def given(self, key: str) -> dict[str, Any] | None:
        """The answer that this key got already."""
        return next((row for row in self.rows if key and row["key"] == key), None)

    def keep(self, answer: Answer, *, key: str, asked: str, at: datetime) -> dict[str, Any]:
        """Write an answer down, and give its row back."""
        row = {**asdict(answer), "key": key, "asked": asked, "at": at.isoformat()}
        if row.pop("held") is not None:
            self._kept["held"] = dict(answer.held or {})
        self._kept["rows"] = [row, *self._kept.get("rows", [])][:KEPT]
        self._kept["count"] = self.count + (answer.result is not Result.STOP and not answer.asks)
        self._write()
        return self.rows[0]

    def let_go(self) -> None:
        """Carry nothing any more; the answers of the run stay."""
        self._kept["held"] = {}
        self._write()

    def _write(self) -> None:
        self._session[SESSION] = {**self._session.get(SESSION, {}), self._mode: self._kept}
