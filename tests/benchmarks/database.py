"""An empty database for a command that needs one, and rows written to it in bulk.

SQLite in a folder of its own, or that of DATABASE_URL beside it.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

import django
from django.test.utils import setup_databases, setup_test_environment, teardown_databases

BATCH = 2000


@contextmanager
def empty_database() -> Iterator[None]:
    """Set the project up on a new database, and remove the database at the end.

    Whoever calls it imports what knows models only inside the block.
    """
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"DJANGO_SETTINGS_MODULE": "config.settings.test", "LUMENKEEP_DATA": folder}
        django.setup()
        setup_test_environment()
        made = setup_databases(verbosity=0, interactive=False)
        try:
            yield
        finally:
            teardown_databases(made, verbosity=0)


def put(rows: Iterable[Any]) -> None:
    """Write rows of one table in batches, so that the memory holds one of them."""
    rest = iter(rows)
    while some := list(islice(rest, BATCH)):
        type(some[0])._default_manager.bulk_create(some)
