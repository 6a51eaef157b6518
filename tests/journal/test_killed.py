"""A worker that is killed between two steps of a notice leaves one notice, and each channel gets it at least once."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journal.killed import killed_once, unit

pytestmark = [pytest.mark.jobs, pytest.mark.django_db(transaction=True)]

# A few steps, how many of that name come before, and how often each channel then gets it. Every step of all:
# python -m tests.benchmarks.killed_notices
BEFORE = (
    ("watch_life: INSERT journal_delivery", 0, (1, 1)),  # the notice is written, what is to leave of it not yet
    ("watch_life: after COMMIT", 0, (1, 1)),  # both are written, nobody was told to send
    ("send_notices: UPDATE journal_delivery", 1, (2, 1)),  # sent by webhook, not written down
)


def test_a_notice_whose_worker_is_killed_is_told_once_and_sent_at_least_once(tmp_path: Path) -> None:
    with unit(tmp_path) as (life, other):
        for name, earlier, sent in BEFORE:
            found = killed_once(life, other, dies_before=(name, earlier))
            assert (found.died, (found.by_hook, found.by_mail)) == (True, sent), name
