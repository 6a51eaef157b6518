"""`manage.py trail`: seal, check, list and export the trail, and show the public key."""

from __future__ import annotations

import json
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from journal import bundle
from journal.documents import from_json
from journal.models import Head
from journal.reads import tail
from journal.sealing import Stretch, seal, signer, stretch, verify
from journal.seals import SignedHead, stamp

FAULTS = 1  # exit status when the trail is not as it was sealed


class Command(BaseCommand):
    """One subcommand each."""

    help = "Seal the trail, verify it against its seals and against heads kept outside, export it for an auditor."

    def add_arguments(self, parser: CommandParser) -> None:
        """The subcommands and what each takes."""
        deeds = parser.add_subparsers(dest="deed", required=True)
        deeds.add_parser("seal", help="seal what is not sealed yet")
        deeds.add_parser("key", help="print the public key")
        listed = deeds.add_parser("heads", help="print signed heads as JSON, to be kept outside")
        listed.add_argument("--last", action="store_true", help="only the last one")
        checked = deeds.add_parser("verify", help="check every row against its seal; exit status 1 when one differs")
        written = deeds.add_parser("export", help="write a .zip that can be checked without Lumenkeep")
        written.add_argument("out", type=Path, help="the .zip to write")
        for one in (listed, checked, written):
            one.add_argument("--from", dest="since", type=_moment, help="sealed from this day or moment on")
            one.add_argument("--to", dest="until", type=_end, help="sealed up to the end of this day, or this moment")
        for one in (checked, written):
            one.add_argument("--head", type=Path, action="append", default=[], help="a head that was kept outside")

    def handle(self, *args: Any, deed: str, **options: Any) -> None:
        """Do it; a key that is not there, or a file that is no head, is said in one sentence."""
        try:
            getattr(self, f"_{deed}")(**options)
        except ValueError as refusal:
            raise CommandError(str(refusal)) from refusal

    def _seal(self, **_: Any) -> None:
        self.stdout.write(f"{seal()} rows sealed.")

    def _key(self, **_: Any) -> None:
        self.stdout.write(signer().public)

    def _heads(self, *, last: bool, since: datetime | None, until: datetime | None, **_: Any) -> None:
        rows = Head.objects.all()
        rows = rows.filter(at__gte=since) if since else rows
        rows = rows.filter(at__lte=until) if until else rows
        for row in rows.reverse()[:1] if last else rows:
            self.stdout.write(json.dumps(row.signed.as_dict()))

    def _verify(self, *, since: datetime | None, until: datetime | None, head: list[Path], **_: Any) -> None:
        outside = [_head(path) for path in head]
        report = verify(_stretch(since, until, outside), outside)
        for finding in report.findings:
            self.stdout.write(finding.words)
        self.stdout.write(f"{report.rows} sealed rows under {report.heads} heads read, public key {signer().public}.")
        for kept in outside:
            self.stdout.write(f"Compared with the head of {kept.size} rows kept outside, signed {stamp(kept.at)}.")
        waiting = tail()
        age = f", the oldest for {waiting.age(timezone.now()).total_seconds():.0f} s" if waiting.since else ""
        self.stdout.write(f"{waiting.rows} rows wait for their seal{age}.")
        if report.findings:
            self.stdout.write(f"The trail is NOT as it was sealed: {len(report.findings)} found.")
            sys.exit(FAULTS)
        self.stdout.write("The trail is as it was sealed.")

    def _export(
        self, *, out: Path, since: datetime | None, until: datetime | None, head: list[Path], **_: Any
    ) -> None:
        part = _stretch(since, until, [_head(path) for path in head])
        if not part.heads:
            raise ValueError("Cannot export: nothing was sealed in this time, must be at least one row.")
        try:
            bundle.write(
                out, start=part.start, heads=part.heads, rows=part.leaves, tail=part.tail, key=signer().public
            )
        except OSError as refusal:
            raise ValueError(f"Cannot write {out}: {refusal.strerror}.") from refusal
        self.stdout.write(f"{part.end - part.first} sealed rows under {len(part.heads)} heads written to {out}.")
        self.stdout.write(f"Public key: {signer().public}")


def _stretch(since: datetime | None, until: datetime | None, outside: list[SignedHead]) -> Stretch:
    """What is asked for, widened so that every head kept outside can be compared."""
    least = min((kept.size for kept in outside), default=None)
    last = max((kept.at for kept in outside), default=None)
    return stretch(since, max(until, last) if until and last else until, least=least)


def _head(path: Path) -> SignedHead:
    """A head kept outside.

    Raises:
        ValueError: the file is not there or holds no head.
    """
    try:
        return SignedHead.from_document(from_json(path.read_bytes()))
    except OSError as refusal:
        raise ValueError(f"Cannot read {path}: {refusal.strerror}.") from refusal


def _end(text: str) -> datetime:
    """The end of a day of the unit, or a moment."""
    found = _moment(text)
    return found + timedelta(days=1) if len(text) == len("2026-11-26") else found


def _moment(text: str) -> datetime:
    """The beginning of a day of the unit, or a moment; without a zone it is the unit's."""
    found = datetime.fromisoformat(text)
    return found if found.tzinfo else timezone.make_aware(found)
