"""Migrations say all that the models say."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection

from journal import append_only


@pytest.mark.django_db
def test_no_migration_is_missing() -> None:
    call_command("makemigrations", check=True, dry_run=True, stdout=StringIO())


@pytest.mark.storage
@pytest.mark.django_db
def test_every_guard_is_in_place_after_migrate() -> None:
    tables = append_only.guarded_tables()
    assert tables
    assert set(tables) <= set(connection.introspection.table_names())
    assert append_only.missing(connection) == []
