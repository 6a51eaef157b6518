"""The embedded shape: one process on one data folder, with Celery's worker and beat on threads of it."""

from __future__ import annotations

import fcntl
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from celery import Celery
from celery.beat import Service
from celery.signals import worker_ready
from celery.worker import state

WORKER = "Worker"
WORKER_THREADS = 2
BEAT_S = 1  # how often beat looks up, and so how soon it stops
PATIENCE_S = 20.0  # how long a job under way may take to end when the process is told to stop


class Occupied(Exception):
    """Another process holds the lock.

    Args:
        pid: the process that holds it, as it wrote itself down.
    """

    def __init__(self, pid: str) -> None:
        self.pid = pid
        super().__init__(f"Process {pid} holds the lock.")


@contextmanager
def only_process(path: Path) -> Iterator[None]:
    """Hold the lock file at `path` for the length of the block; the system lets go of it at any death.

    Raises:
        Occupied: another process holds it.
    """
    with path.open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as refusal:
            lock.seek(0)
            raise Occupied(lock.read().strip()) from refusal
        lock.truncate(0)
        lock.write(str(os.getpid()))
        lock.flush()
        yield


@contextmanager
def jobs(app: Celery, schedule: Path) -> Iterator[None]:
    """Run worker and beat for the length of the block, then stop them; no signal handler is touched.

    A job that does not end within PATIENCE_S is left behind: jobs are safe to run twice, and what must
    happen stands in the database and is taken up at the next start.

    Args:
        app: the Celery application, on a broker in memory.
        schedule: file in which beat keeps when it last sent each job.
    """
    worker = app.WorkController(
        app=app,
        pool="threads",
        concurrency=WORKER_THREADS,
        hostname="embedded@localhost",
        without_heartbeat=True,
        without_mingle=True,
        without_gossip=True,
        ready_callback=_say_ready,
    )
    beat = Service(app, max_interval=BEAT_S, schedule_filename=str(schedule))
    working = threading.Thread(target=worker.start, name=WORKER, daemon=True)
    ticking = threading.Thread(target=beat.start, name="Beat", daemon=True)
    working.start()
    ticking.start()
    try:
        yield
    finally:
        beat.stop()
        state.should_stop = os.EX_OK  # type: ignore[assignment]  # None means: go on
        ticking.join(PATIENCE_S)
        working.join(PATIENCE_S)
        state.should_stop = None


def _say_ready(consumer: object) -> None:
    """What the `celery worker` command does, and a worker within another program does not."""
    worker_ready.send(sender=consumer)
