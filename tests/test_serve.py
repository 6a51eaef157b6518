"""The embedded shape as a person starts it, and jobs that run inside it."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from celery import shared_task
from django.conf import settings
from django.db import transaction

from config import embedded
from config.celery import app
from journal.models import Notice
from journal.roles import Role

ROOT = Path(__file__).resolve().parents[1]
START_S = 60
STOP_S = 30


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def shape(data: Path) -> dict[str, str]:
    """The environment of the embedded shape on a data folder of its own."""
    own = {"DJANGO_SETTINGS_MODULE": "config.settings.embedded", "LUMENKEEP_DATA": str(data), "LOG_LEVEL": "INFO"}
    return {**os.environ, **own}


def serve(data: Path, port: int) -> subprocess.Popen[str]:
    command = [sys.executable, "manage.py", "serve", "--port", str(port)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, cwd=ROOT, env=shape(data), stdout=pipe, stderr=pipe, text=True)


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with an empty database."""
    data = tmp_path_factory.mktemp("data")
    migrate = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
    subprocess.run(migrate, cwd=ROOT, env=shape(data), check=True, timeout=START_S)
    return data


@contextmanager
def served(data: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """A site that answers; killed at the end if it has not stopped before."""
    process = serve(data, port)
    try:
        assert process.stdout is not None
        assert any(f"http://127.0.0.1:{port}/" in line for line in process.stdout)
        yield process
    finally:
        process.kill()
        process.communicate()


def test_every_job_of_the_timetable_is_done_after_the_start(migrated: Path) -> None:
    wanted = {entry["task"] for entry in app.conf.beat_schedule.values()}
    with served(migrated, free_port()) as process:
        patience = threading.Timer(START_S, process.kill)
        patience.start()
        assert process.stderr is not None
        succeeded = (line.split("[")[0].split()[-1] for line in process.stderr if " succeeded in " in line)
        done: set[str] = set()
        while not wanted <= done and (job := next(succeeded, None)):
            done.add(job)
        patience.cancel()
    assert done == wanted != set()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serves_and_stops_when_told(migrated: Path, number: signal.Signals) -> None:
    port = free_port()
    with served(migrated, port) as process:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/") as answer:
            told = json.load(answer)
        assert (told["healthy"], told["findings"]) == (True, [])
        process.send_signal(number)
        said, complained = process.communicate(timeout=STOP_S)
    assert process.returncode == 0
    assert said == "Stopped.\n"
    assert "Traceback" not in complained


def test_second_process_on_the_same_data_is_sent_away(migrated: Path) -> None:
    with served(migrated, free_port()) as first:
        second = serve(migrated, free_port())
        _, complained = second.communicate(timeout=START_S)
    assert second.returncode == 1
    assert f"process {first.pid} does so already" in complained
    assert f"kill {first.pid}" in complained


def test_lock_of_a_killed_process_does_not_keep_the_next_away(migrated: Path) -> None:
    with served(migrated, free_port()) as first:
        first.kill()
        first.wait()
        with served(migrated, free_port()):
            pass


def test_port_in_use_is_named_with_a_way_out(migrated: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        process = serve(migrated, port)
        _, complained = process.communicate(timeout=START_S)
    assert process.returncode == 1
    assert f"Cannot serve on 127.0.0.1:{port}: another program uses this port" in complained
    assert f"make run PORT={port + 1}" in complained


in_memory = pytest.mark.skipif(
    not settings.CELERY_BROKER_URL.startswith("memory:"), reason="the embedded shape has no broker"
)
SEEN = threading.Event()


@shared_task
def look_for_notice(pk: int) -> None:
    """A job that counts only when it finds what its sender has committed."""
    if Notice.objects.filter(pk=pk).exists() and threading.current_thread() is not threading.main_thread():
        SEEN.set()


@in_memory
@pytest.mark.django_db(transaction=True)
def test_work_handed_over_at_commit_is_done_in_the_same_process(tmp_path: Path) -> None:
    SEEN.clear()
    with embedded.jobs(app, tmp_path / "beat"):
        with transaction.atomic():
            notice = Notice.objects.create(topic="t", cause="c", role=Role.TECHNICIAN, sentence="s")
            look_for_notice.delay_on_commit(notice.pk)  # type: ignore[attr-defined]
            assert not SEEN.wait(1.5)
        assert SEEN.wait(10)


@in_memory
@pytest.mark.django_db(transaction=True)
def test_beat_sends_what_is_due_and_stops_with_the_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    SEEN.clear()
    notice = Notice.objects.create(topic="t", cause="c", role=Role.TECHNICIAN, sentence="s")
    entry = {"task": look_for_notice.name, "schedule": 1.0, "args": [notice.pk]}
    monkeypatch.setitem(app.conf, "beat_schedule", {"look": entry})
    before = time.monotonic()
    with embedded.jobs(app, tmp_path / "beat"):
        assert SEEN.wait(15)
    assert time.monotonic() - before < embedded.PATIENCE_S
    assert not {embedded.WORKER, "Beat"} & {thread.name for thread in threading.enumerate()}


HELD, LET_GO = threading.Event(), threading.Event()


@shared_task
def hold_on() -> None:
    """A job that does not end by itself."""
    HELD.set()
    LET_GO.wait(60)


@in_memory
@pytest.mark.django_db(transaction=True)
def test_a_job_without_end_does_not_hold_up_the_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(embedded, "PATIENCE_S", 3.0)
    with embedded.jobs(app, tmp_path / "beat"):
        hold_on.delay()
        assert HELD.wait(10)
    (left,) = (thread for thread in threading.enumerate() if thread.name == embedded.WORKER)
    LET_GO.set()
    left.join(10)
    assert not left.is_alive()
