"""The default shape: SQLite, and web, worker and beat in one process; no server to install."""

import os
import secrets

from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR, LOGGING
from config.settings.databases import sqlite

DATA_DIR.mkdir(parents=True, exist_ok=True)


def _secret() -> str:
    """The site's own secret, made at first start and kept beside the database."""
    path = DATA_DIR / "secret_key"
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(50))
    return path.read_text()


SECRET_KEY = _secret()
ALLOWED_HOSTS = os.environ.get("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
DATABASES = {"default": sqlite(DATA_DIR / "lumenkeep.sqlite3")}
CELERY_BROKER_URL = "memory://localhost/"
CELERY_BROKER_TRANSPORT_OPTIONS = {"polling_interval": 0.2}  # seconds; how late a job may start
WHITENOISE_USE_FINDERS = True
LOGGING["root"]["level"] = os.environ.get("LOG_LEVEL", "WARNING")  # what a person at the terminal should look at
