"""manage.py import_trays: Import trays."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from journal import import_command
from trays.imports import import_trays


class Command(BaseCommand):
    """Import trays."""

    help = "Import trays. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE and options."""
        import_command.add_arguments(parser)

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_trays)
