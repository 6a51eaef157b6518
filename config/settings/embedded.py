"""The default shape: SQLite, and web, worker and beat in one process; no server to install."""

import os
import secrets
from pathlib import Path

from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR, LOGGING
from config.settings.databases import sqlite

DATA_DIR.mkdir(parents=True, exist_ok=True)


def _kept(name: str, made: str) -> Path:
    """A secret of the site's own, made at first start and kept beside the database."""
    path = DATA_DIR / name
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(made)
    return path


SECRET_KEY = _kept("secret_key", secrets.token_urlsafe(50)).read_text()
TRAIL_KEY_FILE = _kept("trail_key", secrets.token_hex(32))
LIST_KEY_FILE = _kept("list_key", secrets.token_hex(32))
ALLOWED_HOSTS = os.environ.get("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
DATABASES = {"default": sqlite(DATA_DIR / "lumenkeep.sqlite3")}
CELERY_BROKER_URL = "memory://localhost/"
CELERY_BROKER_TRANSPORT_OPTIONS = {"polling_interval": 0.2}  # seconds; how late a job may start
WHITENOISE_USE_FINDERS = True
LOGGING["root"]["level"] = os.environ.get("LOG_LEVEL", "WARNING")  # what a person at the terminal should look at
