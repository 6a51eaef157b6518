"""manage.py import_templates: Import templates, one row per line; a changed template gets a new version."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from journal import import_command
from trays.imports import import_templates


class Command(BaseCommand):
    """Import templates."""

    help = "Import templates, one row per line; a changed template gets a new version. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE and options."""
        import_command.add_arguments(parser)

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_templates)
