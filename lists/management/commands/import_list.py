"""manage.py import_list: import the cases of a day's list."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand

from journal import import_command
from lists.imports import import_list


class Command(BaseCommand):
    """Import a list."""

    help = "Import the cases of a day's list. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE, options, and the day for starts without one."""
        import_command.add_arguments(parser)
        parser.add_argument("--day", type=date.fromisoformat, help="YYYY-MM-DD, for starts written as HH:MM")

    def handle(self, **options: Any) -> str:
        """Import and say what changed."""
        return import_command.run(options, import_list, day=options["day"])
