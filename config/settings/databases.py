"""The two shapes of storage, each with what its guards need."""

from pathlib import Path
from typing import Any

import dj_database_url

SQLITE_PRAGMAS = (
    "PRAGMA journal_mode=WAL;"
    "PRAGMA synchronous=FULL;"  # an acknowledged scan survives a power cut
    "PRAGMA foreign_keys=ON;"
    "PRAGMA recursive_triggers=ON;"  # else INSERT OR REPLACE walks past the append-only triggers
)


def sqlite(path: Path) -> dict[str, Any]:
    """SQLite file at `path`: write-ahead log, IMMEDIATE transactions, 30 s of patience."""
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": path,
        "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 30, "init_command": SQLITE_PRAGMAS},
    }


def from_url(url: str) -> dict[str, Any]:
    """PostgreSQL named by a DATABASE_URL."""
    return dict(dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True))
