"""What the import commands share: their arguments, who acts, and how a report is printed."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from journal.actions import Act
from journal.findings import Refused
from journal.imports import Report
from journal.models import Person
from journal.tables import FaultyTable


def add_arguments(parser: ArgumentParser) -> None:
    """FILE, --by, --dry-run and --keep-good."""
    parser.add_argument("file", type=Path, metavar="FILE.csv")
    parser.add_argument("--by", required=True, metavar="SIGN-IN", help="sign-in name of the person who imports")
    parser.add_argument("--dry-run", action="store_true", help="say what would change, write nothing")
    parser.add_argument("--keep-good", action="store_true", help="take the good rows although others have faults")


def acting(sign_in: str) -> Act:
    """The act of a person at the command line.

    Raises:
        CommandError: nobody has this sign-in name.
    """
    person = Person.objects.filter(username=sign_in, is_active=True).first()
    if person is None:
        raise CommandError(f"Cannot import as {sign_in}: nobody signs in by that name. Name somebody who does.")
    return Act(by=person, method="command")


def content_of(path: Path) -> bytes:
    """The file's bytes.

    Raises:
        CommandError: the file cannot be read.
    """
    try:
        return path.read_bytes()
    except OSError as wrong:
        raise CommandError(f"Cannot read {path}: {wrong.strerror}. Name a file that is there.") from wrong


def run(options: dict[str, Any], take: Callable[..., Report], **more: Any) -> str:
    """Import the file and put the report into words.

    Raises:
        CommandError: the table has faults, each named; or the person may not.
    """
    act = acting(options["by"])
    data = content_of(options["file"])
    try:
        report = take(data, dry_run=options["dry_run"], keep_good=options["keep_good"], act=act, **more)
    except FaultyTable as faulty:
        raise CommandError(f"{faulty}\nNothing was imported.") from faulty
    except Refused as refused:
        raise CommandError(str(refused)) from refused
    lines = [fault.sentence for fault in report.faults]
    return "\n".join([*lines, report.sentence + (" Dry run: nothing was written." if options["dry_run"] else "")])
