"""The journal: people, places, policies, notices and the append-only trail."""

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate
from django.urls import register_converter

from journal.converters import DayConverter


def _lift_guards(*, using: str, **_: Any) -> None:
    from journal.append_only import lift  # noqa: PLC0415 - models must be loaded first

    if connections[using].vendor == "sqlite":
        lift(connections[using])


def _install_guards(*, using: str, **_: Any) -> None:
    from journal.append_only import install  # noqa: PLC0415 - models must be loaded first

    install(connections[using])


class JournalConfig(AppConfig):
    """Installs the guards of tables anew after every migrate, and lets addresses hold a day."""

    name = "journal"

    def ready(self) -> None:
        """Hook the guards to the end of migrations: a remade SQLite table loses its triggers silently.

        A trigger that names another table keeps SQLite from remaking that one, so all are lifted before.
        """
        register_converter(DayConverter, "day")
        pre_migrate.connect(_lift_guards, sender=self, dispatch_uid="journal.guards_lifted")
        post_migrate.connect(_install_guards, sender=self, dispatch_uid="journal.append_only")
