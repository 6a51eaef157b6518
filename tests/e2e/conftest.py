"""Tests in a real browser: the machine's own Chromium, with nothing of it that talks to the outside."""

from __future__ import annotations

import os
from typing import Any

import pytest

# Playwright's own event loop runs in the thread that also serves the database to the live server's tests.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """How Playwright starts the browser."""
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "args": QUIET}


@pytest.fixture(scope="session")
def base_url() -> str:
    """None: every address in these tests is whole. (The plugin's own fixture warns of its end under pytest 9.)"""
    return ""
