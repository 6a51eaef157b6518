"""manage.py import_pieces: Import the register of pieces and their marks."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from instruments.imports import import_pieces
from journal import import_command


class Command(BaseCommand):
    """Import the register of pieces."""

    help = "Import the register of pieces and their marks. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE and options."""
        import_command.add_arguments(parser)

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_pieces)
