"""Never 10: no line of the trail is changed or removed, whoever asks and on either database."""

from __future__ import annotations

import sqlite3
from typing import Any

import psycopg
import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from instruments.models import FunctionTest, PieceLine
from journal import append_only
from journal.actions import trails
from tests import makers
from tests.makers import AT
from trays.models import Content, Lack, PackLine

pytestmark = [pytest.mark.django_db, pytest.mark.storage]

ON_SQLITE = connection.vendor == "sqlite"
GROWS = "only grows: add a new line that names the old one"


def run(sql: str, *values: Any) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


@pytest.fixture
def line() -> PieceLine:
    return PieceLine.objects.get(piece=makers.piece(), verb="enrol")


def test_every_trail_and_every_record_is_guarded() -> None:
    guarded = set(append_only.guarded_tables())
    assert {lines._meta.db_table for lines in trails().values()} <= guarded
    assert {model._meta.db_table for model in (Content, Lack, FunctionTest)} <= guarded
    assert append_only.missing(connection) == []


def test_a_line_is_not_changed(line: PieceLine) -> None:
    line.verb = "nothing"
    with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
        line.save()
    with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
        PieceLine.objects.update(reason="")
    with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
        PieceLine.objects.bulk_update([line], ["verb"])
    line.refresh_from_db()
    assert line.verb == "enrol"


def test_a_line_is_not_removed(line: PieceLine) -> None:
    for remove in (line.delete, PieceLine.objects.all().delete):
        with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
            remove()
    assert PieceLine.objects.filter(pk=line.pk).exists()


def test_a_line_is_not_replaced(line: PieceLine) -> None:
    """SQLite's INSERT OR REPLACE removes the old row silently; an upsert is an update elsewhere."""
    columns = ", ".join(field.column for field in PieceLine._meta.concrete_fields)
    row = f"SELECT {columns} FROM {PieceLine._meta.db_table} WHERE id = %s"
    head = f"INTO {PieceLine._meta.db_table} ({columns}) {row}"
    upsert = "ON CONFLICT (id) DO UPDATE SET verb = 'nothing'"
    sql = f"INSERT OR REPLACE {head}" if ON_SQLITE else f"INSERT {head} {upsert}"
    with pytest.raises(IntegrityError, match=GROWS):
        run(sql, line.pk)
    with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
        PieceLine.objects.bulk_create([line], update_conflicts=True, update_fields=["verb"], unique_fields=["id"])


def test_a_content_is_not_replaced_by_one_with_a_key_of_its_own() -> None:
    """Pack and piece together are unique: on SQLite a replacement by these would remove the old row."""
    content = Content.objects.get(pack=makers.single())
    values = [content.pack_id, content.piece_id, 9, "X", "X"]
    head = "INTO trays_content (pack_id, piece_id, position, part_code, part_name) VALUES (%s, %s, %s, %s, %s)"
    upsert = "ON CONFLICT (pack_id, piece_id) DO UPDATE SET position = 9"
    sql = f"INSERT OR REPLACE {head}" if ON_SQLITE else f"INSERT {head} {upsert}"
    with pytest.raises(IntegrityError, match=GROWS):
        run(sql, *values)
    assert Content.objects.get(pk=content.pk).position == 0


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("line")
def test_a_trail_is_not_emptied() -> None:
    table = PieceLine._meta.db_table
    with pytest.raises(IntegrityError, match=GROWS):
        run(f"DELETE FROM {table}" if ON_SQLITE else f"TRUNCATE {table} CASCADE")
    assert PieceLine.objects.exists()


def test_a_new_line_is_always_welcome(line: PieceLine) -> None:
    PackLine.objects.create(
        pack=makers.single(), occurred_at=AT, person=line.person, method="password", verb="look_at"
    )
    assert PackLine.objects.filter(verb="look_at").exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("sql", ["UPDATE {} SET verb = 'nothing'", "DELETE FROM {}"])
def test_another_program_is_held_off_too(line: PieceLine, sql: str) -> None:
    statement = sql.format(PieceLine._meta.db_table)
    foreign = from_outside()
    try:
        with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError), match=GROWS):
            foreign.execute(statement)
    finally:
        foreign.close()
    line.refresh_from_db()
    assert line.verb == "enrol"


def from_outside() -> Any:
    """A connection that knows nothing of our settings."""
    if ON_SQLITE:
        return sqlite3.connect(connection.settings_dict["NAME"])
    params = connection.get_connection_params()
    return psycopg.connect(**{name: params[name] for name in ("dbname", "user", "host", "port") if name in params})


def lose_guards() -> None:
    """What an ALTER does on SQLite (the table is made anew), and what somebody might do on PostgreSQL."""
    if ON_SQLITE:
        with connection.schema_editor() as editor:
            editor._remake_table(PieceLine)  # type: ignore[attr-defined]
    else:
        run("DROP TRIGGER instruments_pieceline_append_only_change ON instruments_pieceline")


@pytest.mark.django_db(transaction=True)
def test_lost_guards_are_reported_and_come_back_with_the_next_migrate() -> None:
    makers.piece()
    lose_guards()
    lost = append_only.missing(connection)
    assert lost
    assert all(name.startswith("instruments_pieceline_append_only") for name in lost)
    found = append_only.check_guards(databases=["default"])
    assert [check.id for check in found] == ["journal.W001"] * len(lost)
    assert "manage.py migrate" in str(found[0].hint)
    call_command("migrate", verbosity=0)
    assert append_only.missing(connection) == []
    assert append_only.check_guards(databases=["default"]) == []
    with pytest.raises(IntegrityError, match=GROWS), transaction.atomic():
        PieceLine.objects.all().delete()


@pytest.mark.django_db(transaction=True)
def test_a_guard_switched_off_counts_as_lost() -> None:
    if ON_SQLITE:
        run("DROP TRIGGER trays_content_append_only_update")
    else:
        run("ALTER TABLE trays_content DISABLE TRIGGER trays_content_append_only_change")
    assert len(append_only.missing(connection)) == 1
    append_only.install(connection)
    assert append_only.missing(connection) == []


def test_the_check_looks_only_at_the_databases_it_is_given() -> None:
    assert append_only.check_guards(databases=None) == []


@pytest.mark.django_db(transaction=True)
def test_guards_are_away_for_the_length_of_a_block_only() -> None:
    piece = makers.piece()
    with append_only.lifted(connection):
        PieceLine.objects.filter(piece=piece).update(reason="moved")
    assert append_only.missing(connection) == []
