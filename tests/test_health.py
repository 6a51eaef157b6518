"""`/health/` tells a monitor whether this process can do its work."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client

from journal import append_only
from tests.architecture.test_settings import SITE
from tests.architecture.tree import ROOT

HEALTHY = {"healthy": True, "findings": [], "unsealed": {"rows": 0, "oldest_s": 0}}


@pytest.mark.storage
@pytest.mark.django_db
def test_healthy_without_sign_in(client: Client) -> None:
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (200, HEALTHY)
    assert "no-store" in answer.headers["Cache-Control"]


@pytest.mark.storage
@pytest.mark.django_db
def test_not_healthy_while_a_guard_is_missing(client: Client) -> None:
    append_only.lift(connection)
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert "guards are missing from the database. Run `manage.py migrate`." in answer.json()["findings"][0]


@pytest.mark.django_db
def test_only_reads(client: Client) -> None:
    assert client.post("/health/").status_code == 405


ASK = """
import django
django.setup()
from django.test import Client
answer = Client().get("/health/", headers={"host": "127.0.0.1"})
print(answer.status_code, answer.json()["findings"])
"""


def asked(**site: str) -> str:
    """The answer of a process of its own, on another database."""
    command = [sys.executable, "-c", ASK]
    done = subprocess.run(command, cwd=ROOT, env={**os.environ, **site}, check=True, capture_output=True, text=True)
    return done.stdout.strip()


def test_not_healthy_while_the_database_does_not_answer() -> None:
    nobody_listens = "postgres://nobody@127.0.0.1:1/none"
    assert asked(**{**SITE, "DATABASE_URL": nobody_listens}) == "503 ['The database does not answer.']"


def test_not_healthy_before_migrate(tmp_path: Path) -> None:
    shape = {"DJANGO_SETTINGS_MODULE": "config.settings.embedded", "LUMENKEEP_DATA": str(tmp_path)}
    assert asked(**shape) == "503 ['The database lacks tables. Run `manage.py migrate`.']"
