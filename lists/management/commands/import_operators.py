"""manage.py import_operators: import what operators ask for beside the standard."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from journal import import_command
from lists.imports import import_operators


class Command(BaseCommand):
    """Import operators."""

    help = "Import what operators ask for beside the standard. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE and options."""
        import_command.add_arguments(parser)

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_operators)
