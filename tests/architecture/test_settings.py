"""The production settings pass Django's own review, and the embedded shape stores as it promises."""

import os
import subprocess
import sys

import pytest
from django.db import connection

from tests.architecture.tree import ROOT

SITE = {
    "DJANGO_SETTINGS_MODULE": "config.settings.production",
    "SECRET_KEY": "abcdefghijklmnopqrstuvwxyz-abcdefghijklmnopqrstuvwxyz",
    "ALLOWED_HOSTS": "lumenkeep.example",
    "DATABASE_URL": "postgres://nobody@127.0.0.1/none",
    "REDIS_URL": "redis://127.0.0.1/0",
    "TRAIL_KEY_FILE": "/run/secrets/trail_key",
    "LIST_KEY_FILE": "/run/secrets/list_key",
}


def manage(*words: str, **site: str) -> subprocess.CompletedProcess[str]:
    """Run a management command with nothing but a site's settings around it."""
    command = [sys.executable, "manage.py", *words]
    around = {"PATH": os.environ["PATH"], **site}
    return subprocess.run(command, cwd=ROOT, env=around, check=False, capture_output=True, text=True)


def test_production_settings_pass_the_deployment_check() -> None:
    done = manage("check", "--deploy", "--fail-level", "WARNING", **SITE)
    assert done.returncode == 0, done.stderr


def test_deployment_check_looks_at_them() -> None:
    done = manage("check", "--deploy", "--fail-level", "WARNING", **SITE, SECURE_SSL_REDIRECT="0")
    assert done.returncode != 0
    assert "security.W008" in done.stderr


@pytest.mark.parametrize("name", [name for name in SITE if name != "DJANGO_SETTINGS_MODULE"])
def test_production_has_no_default_for_what_a_site_must_say(name: str) -> None:
    done = manage("check", **{key: value for key, value in SITE.items() if key != name})
    assert f"KeyError: '{name}'" in done.stderr


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="pragmas are SQLite's")
@pytest.mark.django_db
def test_sqlite_keeps_what_it_has_acknowledged() -> None:
    with connection.cursor() as cursor:
        found = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "busy_timeout")
        }
    assert found == {
        "journal_mode": "wal",
        "synchronous": 2,  # FULL; https://www.sqlite.org/pragma.html#pragma_synchronous
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "busy_timeout": 30_000,
    }
