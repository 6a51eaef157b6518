"""manage.py import_catalogue: Import parts with their dimensions."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from instruments.imports import import_catalogue
from journal import import_command


class Command(BaseCommand):
    """Import the catalogue."""

    help = "Import parts with their dimensions. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE and options."""
        import_command.add_arguments(parser)

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_catalogue)
