"""Both shapes under test: SQLite files by default, PostgreSQL and Redis where the environment names them."""

import os

from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR
from config.settings.databases import from_url, sqlite

DATA_DIR.mkdir(parents=True, exist_ok=True)

SECRET_KEY = "only-for-tests-" + "x" * 50
ALLOWED_HOSTS = ["*"]
if url := os.environ.get("DATABASE_URL"):
    # A cluster made without a locale would else give a database that knows no UTF-8.
    DATABASES = {"default": {**from_url(url), "CONN_MAX_AGE": 0, "TEST": {"CHARSET": "UTF8", "TEMPLATE": "template0"}}}
else:
    DATABASES = {"default": sqlite(DATA_DIR / "unused.sqlite3")}
    # A file, not the shared in-memory database: only a file has the locks that the race tests are about.
    DATABASES["default"]["TEST"] = {"NAME": DATA_DIR / f"test-{os.environ.get('PYTEST_XDIST_WORKER', 'main')}.sqlite3"}
TRAIL_KEY_FILE = DATA_DIR / "trail_key"
TRAIL_KEY_FILE.write_text("9d" * 32)
LIST_KEY_FILE = DATA_DIR / "list_key"
LIST_KEY_FILE.write_text("c3" * 32)
WEBHOOK_HOSTS = ["127.0.0.1"]
WEBHOOK_KEY_FILE = DATA_DIR / "webhook_key"
WEBHOOK_KEY_FILE.write_text("5e" * 32)
CELERY_BROKER_URL = os.environ.get("REDIS_URL", "memory://localhost/")
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = True
LOGGING = {"version": 1, "disable_existing_loggers": False}
