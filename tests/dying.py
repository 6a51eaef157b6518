"""Workers that die by kill -9 at a step that is named, in processes of their own; the product knows nothing of it.

A step is a statement before it reaches the database, a commit before and after it, and a job before its first line and
after its last. Forked from a server without threads and connections (`tests.ready`), so that a start takes a second.
"""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from celery import current_task
from celery.signals import task_postrun, task_prerun
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.db.backends.signals import connection_created

from config import embedded
from config.celery import app

LONGEST_S = 60.0
SERVERS = multiprocessing.get_context("forkserver")


@dataclass(frozen=True)
class Life:
    """What a worker needs to know of the test that starts it.

    Args:
        database: name of the test's database.
        data: folder of its own; steps are written there.
        jobs: names of the entries of the timetable that it has.
        dies_at: number of the step before which it kills itself; 0 = none.
        dies_before: or the name of that step, and how many of the name it takes before.
        given: settings of its own.
    """

    database: str | Path
    data: Path
    jobs: Sequence[str]
    dies_at: int = 0
    dies_before: tuple[str, int] | None = None
    given: dict[str, Any] = field(default_factory=dict)

    @property
    def steps(self) -> list[str]:
        """The steps of the last life, in words; the last of them was not taken if it died."""
        return (self.data / "steps").read_text().splitlines()


class _Steps:
    """Counts the steps of the jobs that the life is about."""

    def __init__(self, life: Life, jobs: set[str]) -> None:
        self.life, self.jobs, self.lock = life, jobs, threading.Lock()
        self.taken: list[str] = []
        self.log = (life.data / "steps").open("w", buffering=1)

    def take(self, what: str) -> None:
        job = getattr(current_task, "name", "")  # a proxy of nothing where no job runs
        if job not in self.jobs:
            return
        with self.lock:
            name = f"{job.rpartition('.')[2]}: {what}"
            named = (name, self.taken.count(name))
            self.taken.append(name)
            self.log.write(f"{name}\n")
            if len(self.taken) == self.life.dies_at or named == self.life.dies_before:
                os.kill(os.getpid(), signal.SIGKILL)

    def watch(self, connection: Any, **_: Any) -> None:
        """Count what goes over a connection; told of each anew, and a thread's are one object."""
        if getattr(connection, "is_watched", False):
            return
        connection.is_watched, commit = True, connection._commit

        def execute(run: Callable[..., Any], sql: str, params: Any, many: Any, context: Any) -> Any:
            self.take(_said(sql))
            return run(sql, params, many, context)

        def committed() -> None:
            self.take("before COMMIT")
            commit()
            self.take("after COMMIT")

        connection.execute_wrappers.append(execute)
        connection._commit = committed


def _said(sql: str) -> str:
    """A statement in two words, or as much of it as has a meaning."""
    table = re.search(r'(?:FROM|INTO|UPDATE) "(\w+)"', sql)
    return f"{sql.split(maxsplit=1)[0]} {table[1]}" if table else sql[:40]


def _live(life: Life) -> None:
    """The whole life of a worker: the shape that the settings name, with the jobs of the life one at a time."""
    app.conf.beat_schedule = {name: app.conf.beat_schedule[name] for name in life.jobs}
    connections.settings["default"]["NAME"] = life.database
    settings.DATA_DIR = life.data
    for name, value in life.given.items():
        setattr(settings, name, value)
    steps = _Steps(life, {entry["task"] for entry in app.conf.beat_schedule.values()})
    connection_created.connect(steps.watch, weak=False)
    task_prerun.connect(lambda **_: steps.take("begins"), weak=False)
    task_postrun.connect(lambda **_: steps.take("has ended"), weak=False)
    if settings.CELERY_BROKER_URL.startswith("memory:"):
        embedded.WORKER_THREADS = 1
        with (life.data / "said").open("w") as said:
            call_command("serve", port=0, stdout=said)
    else:
        app.conf.task_default_queue = f"dying-{life.database}"
        alone = ("--without-gossip", "--without-mingle", "--without-heartbeat")
        app.worker_main(["worker", "--pool", "threads", "--concurrency", "1", "--loglevel", "WARNING", *alone])


@contextmanager
def worker(life: Life) -> Iterator[BaseProcess]:
    """One at work, killed with the block if it has not died before."""
    SERVERS.set_forkserver_preload(["tests.ready"])
    connection.close()
    process = SERVERS.Process(target=_live, args=(life,), daemon=True)
    process.start()
    try:
        yield process
    finally:
        process.kill()
        process.join()


def until(holds: Callable[[], bool], process: BaseProcess | None = None) -> None:
    """Wait for what a worker is about to do, or for its death."""
    patience = time.monotonic() + LONGEST_S
    while not holds() and (process is None or process.is_alive()):
        assert time.monotonic() < patience
        time.sleep(0.05)
