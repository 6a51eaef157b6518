"""`manage.py validation_report`: compute every formula against its published values."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from config.validation.report import VALUES, as_pdf, report

DIFFERS = 1  # exit status when an answer is not as published


class Command(BaseCommand):
    """Say what differs; write the report as PDF and as JSON where it is wanted."""

    help = "Compute every formula against its published values; exit status 1 when an answer differs."

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to write to, and a table of values of one's own."""
        parser.add_argument("--pdf", type=Path, help="write the report as a tagged PDF")
        parser.add_argument("--json", type=Path, help="write the report as JSON")
        parser.add_argument("--values", type=Path, default=VALUES, help="table of published values of your own")

    def handle(self, *args: Any, pdf: Path | None, values: Path, **options: Any) -> None:
        """Each check that differs in a line, then the count."""
        try:
            found = report(timezone.now(), values)
            if pdf:
                pdf.write_bytes(as_pdf(found))
            if options["json"]:
                options["json"].write_text(json.dumps(found.as_dict(), indent=1, ensure_ascii=False) + "\n")
        except OSError as refusal:
            raise CommandError(f"Cannot read or write {refusal.filename}: {refusal.strerror}.") from refusal
        except ValueError as refusal:
            raise CommandError(str(refusal)) from refusal
        for outcome in found.differing:
            value = outcome.value
            self.stdout.write(f"{value.formula} {value.given} gives {outcome.got}, published {value.expected}.")
        count = len(found.outcomes)
        self.stdout.write(f"{count} values computed: {count - len(found.differing)} agree.")
        if found.differing:
            sys.exit(DIFFERS)
