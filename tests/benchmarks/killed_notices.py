"""A worker is killed at every step of a notice, one after the other; on the database of DATABASE_URL, else SQLite.

    nice python -m tests.benchmarks.killed_notices

With REDIS_URL the worker is Celery's own, else that of the embedded shape. Stops at the first notice that is told
twice, is lost, or is not sent by each channel.
"""

from __future__ import annotations

import sys
import tempfile
from itertools import count
from pathlib import Path

from tests.benchmarks.database import empty_database


def main() -> None:
    """Kill, look, and tell, until there is no further step."""
    with empty_database(), tempfile.TemporaryDirectory() as folder:
        from tests.journal.killed import killed_once, unit  # noqa: PLC0415 - knows models

        with unit(Path(folder)) as (life, other):
            for number in count(1):
                found = killed_once(life, other, dies_at=number)
                if not found.died:
                    break
                sent = f"webhook {found.by_hook}, letter {found.by_mail}"
                sys.stdout.write(f"{number:3} killed before {found.step}: one notice; {sent}\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()
