"""Tables that only grow, and rows that freeze: triggers on both databases that refuse what would change them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.core.checks import CheckMessage, register
from django.core.checks import Warning as Warned
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

M = TypeVar("M", bound=models.Model)

_MODELS: list[type[models.Model]] = []
_FROZEN: dict[type[models.Model], dict[str, str]] = {}  # what is refused by kind of change, as SQL

_SQLITE = {
    "update": "CREATE TRIGGER {name} BEFORE UPDATE ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END",
    "delete": "CREATE TRIGGER {name} BEFORE DELETE ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END",
    "replace": (
        "CREATE TRIGGER {name} BEFORE INSERT ON {table} "
        "WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, '{words}'); END"
    ),
}
_SQLITE_FROZEN = (
    "CREATE TRIGGER {name} BEFORE {kind} ON {table} WHEN {refused} BEGIN SELECT RAISE(ABORT, '{words}'); END"
)
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
_POSTGRES_FROZEN = """
CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF {refused} THEN
        RAISE EXCEPTION '{words}' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN {row};
END $$;
CREATE TRIGGER {name} BEFORE {kind} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()
"""


def append_only(model: type[M]) -> type[M]:
    """Class decorator: the model's table is guarded on every database that is migrated."""
    _MODELS.append(model)
    return model


def frozen(where: str, *, update: str = "") -> Callable[[type[M]], type[M]]:
    """Class decorator: rows of the model for which a condition holds are neither added, changed nor removed.

    Args:
        where: the condition in SQL that both databases read, with `{row}` for the row.
        update: what is refused of a change instead, over the rows OLD and NEW, where some change is allowed.
    """
    old, new = where.format(row="OLD"), where.format(row="NEW")

    def guard(model: type[M]) -> type[M]:
        _FROZEN[model] = {"INSERT": new, "UPDATE": update or f"{old} OR {new}", "DELETE": old}
        return model

    return guard


def growing() -> dict[str, type[models.Model]]:
    """The models that only grow by their table, in name order; those frozen under a condition are not among them."""
    return {model._meta.db_table: model for model in sorted(_MODELS, key=lambda model: model._meta.db_table)}


def guarded_tables() -> list[str]:
    """Tables under guard, in name order."""
    return sorted(model._meta.db_table for model in (*_MODELS, *_FROZEN) if not model._meta.abstract)


def _triggers(vendor: str, table: str) -> Iterator[tuple[str, str]]:
    refused = {model._meta.db_table: refused for model, refused in _FROZEN.items()}.get(table)
    if refused is not None:
        yield from _frozen_triggers(vendor, table, refused)
        return
    for kind, sql in (_SQLITE if vendor == "sqlite" else _POSTGRES).items():
        name = f"{table}_append_only_{kind}"
        words = f"{table} only grows: add a new line that names the old one"
        yield name, sql.format(name=name, table=table, words=words)


def _frozen_triggers(vendor: str, table: str, refused: dict[str, str]) -> Iterator[tuple[str, str]]:
    words = f"{table} is frozen here: write a new draft"
    for kind, condition in refused.items():
        name, row = f"{table}_frozen_{kind.lower()}", "OLD" if kind == "DELETE" else "NEW"
        sql = _SQLITE_FROZEN if vendor == "sqlite" else _POSTGRES_FROZEN
        yield name, sql.format(name=name, table=table, kind=kind, refused=condition, words=words, row=row)
    if vendor == "postgresql":
        name = f"{table}_frozen_truncate"
        yield name, _POSTGRES["truncate"].format(name=name, table=table)


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
    """System check: every guarded table has its triggers. A warning: an error would keep `migrate` from mending it."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        for name in missing(connections[alias]):
            hint = "Run `manage.py migrate`: it installs every guard anew."
            found.append(Warned(f"The guard {name} is missing.", hint=hint, id="journal.W001"))
    return found
