"""What every test shares."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connections
from django.test import TransactionTestCase
from hypothesis import HealthCheck, settings

from journal import append_only

# In CI the examples are the same each time; elsewhere each run looks for new ones. Slow machines are no fault.
settings.register_profile("ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if os.environ.get("CI") == "true" else "here")

# By marker: is what the test needs on this machine, and its name.
NEEDS = {
    "servers": ("DATABASE_URL" in os.environ and "REDIS_URL" in os.environ, "DATABASE_URL and REDIS_URL"),
    "browser": (all(map(shutil.which, ("chromium", "pdftoppm"))), "chromium and pdftoppm"),
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what this machine cannot run."""
    for item in items:
        for marker, (is_here, name) in NEEDS.items():
            if not is_here and item.get_closest_marker(marker):
                item.add_marker(pytest.mark.skip(reason=f"needs {name}"))


@pytest.fixture(autouse=True, scope="session")
def _lift_guards_at_teardown() -> Iterator[None]:
    """The one place where tests lift the append-only guards: before the flush that ends a transaction test.

    The flush is followed by a post-migrate signal, which puts them back.
    """
    testing: Any = TransactionTestCase  # its teardown is private to Django
    flush = testing._fixture_teardown

    def lift_and_flush(case: Any) -> None:
        for alias in case._databases_names(include_mirrors=False):
            append_only.lift(connections[alias])
        flush(case)

    testing._fixture_teardown = lift_and_flush
    yield
    testing._fixture_teardown = flush


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI nothing may be skipped: what cannot run there must not look as if it had."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") == "true" and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
