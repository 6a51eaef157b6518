"""Tables that only grow: triggers on both databases that refuse UPDATE, DELETE, REPLACE and TRUNCATE."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.core.checks import CheckMessage, Error, register
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

M = TypeVar("M", bound=models.Model)

_MODELS: list[type[models.Model]] = []

_SQLITE = {
    "update": "CREATE TRIGGER {name} BEFORE UPDATE ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END",
    "delete": "CREATE TRIGGER {name} BEFORE DELETE ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END",
    "replace": (
        "CREATE TRIGGER {name} BEFORE INSERT ON {table} "
        "WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, '{words}'); END"
    ),
}
_POSTGRES = {
    "change": (
        "CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION journal_append_only()"
    ),
    "truncate": (
        "CREATE TRIGGER {name} BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION journal_append_only()"
    ),
}
# Class 23 is what the driver reports as an IntegrityError; a bare RAISE is not.
_POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION journal_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% only grows: add a new line that names the old one', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def append_only(model: type[M]) -> type[M]:
    """Class decorator: the model's table is guarded on every database that is migrated."""
    _MODELS.append(model)
    return model


def guarded_tables() -> list[str]:
    """Tables under guard, in name order."""
    return sorted(model._meta.db_table for model in _MODELS if not model._meta.abstract)


def _triggers(vendor: str, table: str) -> Iterator[tuple[str, str]]:
    for kind, sql in (_SQLITE if vendor == "sqlite" else _POSTGRES).items():
        name = f"{table}_append_only_{kind}"
        words = f"{table} only grows: add a new line that names the old one"
        yield name, sql.format(name=name, table=table, words=words)


def _existing_tables(connection: BaseDatabaseWrapper) -> set[str]:
    return set(connection.introspection.table_names())


def install(connection: BaseDatabaseWrapper) -> None:
    """Put every guard in place anew; safe to repeat. A remade SQLite table has lost its triggers."""
    lift(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for table in _existing_tables(connection).intersection(guarded_tables()):
            for _, sql in _triggers(connection.vendor, table):
                cursor.execute(sql)


def lift(connection: BaseDatabaseWrapper) -> None:
    """Take every guard away: for `install`, and for the teardown of tests."""
    with connection.cursor() as cursor:
        for table in _existing_tables(connection).intersection(guarded_tables()):
            for name, _ in _triggers(connection.vendor, table):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Guards away for the length of the block."""
    lift(connection)
    try:
        yield
    finally:
        install(connection)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the guards that are not in the database."""
    sql = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.vendor == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql)
        present = {row[0] for row in cursor.fetchall()}
    tables = _existing_tables(connection).intersection(guarded_tables())
    wanted = {name for table in tables for name, _ in _triggers(connection.vendor, table)}
    return sorted(wanted - present)


@register("database")
def check_guards(databases: Iterable[str] | None = None, **_: Any) -> list[CheckMessage]:
    """System check: every append-only table has its triggers."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        for name in missing(connections[alias]):
            hint = "Run `manage.py migrate`: it installs every guard anew."
            found.append(Error(f"The append-only guard {name} is missing.", hint=hint, id="journal.E001"))
    return found
