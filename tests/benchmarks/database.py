"""An empty database for a command that needs one: SQLite in a folder of its own, or that of DATABASE_URL beside it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

import django
from django.test.utils import setup_databases, setup_test_environment, teardown_databases


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
