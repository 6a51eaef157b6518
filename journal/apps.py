"""The journal: people, places, policies, notices and the append-only trail."""

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate


def _install_guards(*, using: str, **_: Any) -> None:
    from journal.append_only import install  # noqa: PLC0415 - models must be loaded first

    install(connections[using])


class JournalConfig(AppConfig):
    """Re-installs the append-only guards after every migrate."""

    name = "journal"

    def ready(self) -> None:
        """Hook the guards to the end of migrations: a remade SQLite table loses its triggers silently."""
        post_migrate.connect(_install_guards, sender=self, dispatch_uid="journal.append_only")
