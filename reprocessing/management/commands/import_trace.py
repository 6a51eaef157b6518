"""manage.py import_trace: attach a cycle's recorded trace to its load."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from journal import import_command
from journal.findings import Refused
from reprocessing.actions import attach_trace


class Command(BaseCommand):
    """Attach a trace to a load."""

    help = "Attach a recorded trace (CSV) to a load and judge it. Columns: docs/imports.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FILE, load, who, dry run."""
        parser.add_argument("file", type=Path, metavar="FILE.csv")
        parser.add_argument("--load", required=True, metavar="CODE", help="the load's code")
        parser.add_argument("--by", required=True, metavar="SIGN-IN", help="sign-in name of the person who imports")
        parser.add_argument("--dry-run", action="store_true", help="judge it, write nothing")

    def handle(self, **options: Any) -> str:
        """Judge and attach."""
        act = import_command.acting(options["by"])
        content = import_command.content_of(options["file"]).decode("utf-8-sig", errors="replace")
        try:
            with transaction.atomic():
                done = attach_trace(options["load"], options["file"].name, content, act=act)
                if options["dry_run"]:
                    transaction.set_rollback(True)
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        lines = [done.sentence, *(finding["sentence"] for finding in done.findings)]
        return "\n".join([*lines, "Dry run: nothing was written."] if options["dry_run"] else lines)
