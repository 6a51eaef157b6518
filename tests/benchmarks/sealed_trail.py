"""What it takes to seal, verify, export and audit a long trail, against one plain SHA-256 pass over the same rows.

    nice python -m tests.benchmarks.sealed_trail --lines 100000

Writes the lines into an empty database (that of DATABASE_URL, else SQLite) and seals them under several heads; at the
end one line is altered behind the guards' back, and both sides must name it. Exits 1 when they do not.
docs/verify.md records the figures.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import Any

from tests.benchmarks.database import empty_database

HEADS = 10
BATCH = 2000


def plain_pass(table: str) -> int:
    """Every row by plain SQL, hashed as it comes; how many there were."""
    from django.db import connection  # noqa: PLC0415

    rows = 0
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY id")
        while some := cursor.fetchmany(BATCH):
            for row in some:
                hashlib.sha256(repr(row).encode()).digest()
            rows += len(some)
    return rows


def write_lines(many: int) -> None:
    """Lines of one piece, as many as are asked for."""
    from instruments.models import PieceLine  # noqa: PLC0415
    from tests import makers  # noqa: PLC0415

    piece, person = makers.piece(), makers.person()
    for start in range(0, many, BATCH):
        PieceLine.objects.bulk_create(
            PieceLine(
                piece=piece,
                occurred_at=makers.AT,
                person=person,
                method="password",
                verb="look_at",
                reason=f"Looked at for the {number}th time",
                evidence={"turn": number, "clean": True},
            )
            for number in range(start, min(start + BATCH, many))
        )


def timed(call: Callable[..., Any], *given: Any) -> tuple[Any, float]:
    """What a call returns, and how long it took [s]."""
    begun = perf_counter()
    return call(*given), perf_counter() - begun


def sealed(lines: int) -> float:
    """Write lines and seal them, share by share; how long the sealing took [s]."""
    from journal.sealing import seal  # noqa: PLC0415

    took = 0.0
    for _ in range(HEADS):
        write_lines(lines // HEADS)
        took += timed(seal)[1]
    return took


def altered(folder: Path, head: Path) -> list[str]:
    """Alter a line in the middle behind the guards' back; what either side fails to say of it."""
    from django.db import connection  # noqa: PLC0415

    from instruments.models import PieceLine  # noqa: PLC0415
    from journal import append_only  # noqa: PLC0415
    from tests.journal import auditor  # noqa: PLC0415

    line = PieceLine.objects.order_by("pk")[PieceLine.objects.count() // 2]
    connection.check_constraints()  # PostgreSQL lifts no guard while a key is still to be checked
    with append_only.lifted(connection):
        PieceLine.objects.filter(pk=line.pk).update(verb="nothing")
        connection.check_constraints()
    name = f"ow {line.pk} of {PieceLine._meta.db_table}"
    sides = {"verify": auditor.trail("verify", "--head", str(head)), "auditor": auditor.audit(folder, head)}
    return [side for side, (status, said) in sides.items() if status != 1 or name not in said]


def compare(lines: int, folder: Path) -> tuple[dict[str, float], list[str]]:
    """How many plain passes each step takes, the plain pass itself in seconds; and what went wrong."""
    from instruments.models import PieceLine  # noqa: PLC0415
    from journal.sealing import signer  # noqa: PLC0415
    from tests.journal import auditor  # noqa: PLC0415

    out = folder / "trail.zip"
    sealing = sealed(lines)
    plain = min(timed(plain_pass, PieceLine._meta.db_table)[1] for _ in range(3))
    head = auditor.keep_head(folder)
    (status, _), verifying = timed(auditor.trail, "verify", "--head", str(head))
    _, exporting = timed(auditor.trail, "export", str(out))
    (audit, _), auditing = timed(auditor.run, auditor.VERIFY, folder, signer().public, out, head)
    wrong = ["a sound trail is not found sound"] * (status != 0 or audit != 0)
    wrong += [f"the altered line is not named by {side}" for side in altered(folder, head)]
    took = {"seal": sealing, "verify": verifying, "export": exporting, "audit": auditing}
    return {"plain": plain, **{step: time / plain for step, time in took.items()}}, wrong


def main() -> None:
    """Write, seal, check, tell, and exit 1 when something is wrong."""
    parser = argparse.ArgumentParser(description="Seal and check a long trail.")
    parser.add_argument("--lines", type=int, default=2000)
    asked = parser.parse_args()
    with empty_database(), tempfile.TemporaryDirectory() as folder:
        figures, wrong = compare(asked.lines, Path(folder))
    plain = figures.pop("plain")
    sys.stdout.write(f"{asked.lines} lines; plain SHA-256 pass {plain:.3f} s\n")
    for step, ratio in figures.items():
        sys.stdout.write(f"{step}: {ratio:.1f} passes, {asked.lines / (ratio * plain):.0f} lines/s\n")
    sys.stdout.write("".join(f"WRONG: {fault}\n" for fault in wrong))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
