"""A longer trail under several heads: found sound, then one altered line in its middle named by either side.

The command of `tests.benchmarks.sealed_trail` takes as many lines as it is asked for.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from journal.models import Head
from tests.benchmarks.sealed_trail import HEADS, compare

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def test_a_thousand_lines_under_ten_heads(tmp_path: Path) -> None:
    figures, wrong = compare(1000, tmp_path)
    assert wrong == []
    assert Head.objects.count() == HEADS
    assert set(figures) == {"plain", "seal", "verify", "export", "audit"}
