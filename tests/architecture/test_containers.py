"""No container engine here: each container's command and health check is run by hand, on real servers."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings
from django.db import connection

from config.celery import app
from tests.architecture.tree import ROOT
from tests.test_serve import free_port

SERVICES: dict[str, dict[str, Any]] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())["services"]
OURS = ("web", "worker", "beat", "listener")
START_S = 60
DATA = "/var/lib/lumenkeep"
BEHIND_PROXY = {"Host": "lumenkeep.example", "X-Forwarded-Proto": "https"}


def environment(data: Path) -> dict[str, str]:
    """What a container is given, with the servers and the database of this test run."""
    database = connection.settings_dict
    address = f"{database['HOST']}:{database['PORT'] or 5432}"
    return {
        **os.environ,
        "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        "DJANGO_SETTINGS_MODULE": "config.settings.production",
        "SECRET_KEY": "abcdefghijklmnopqrstuvwxyz-abcdefghijklmnopqrstuvwxyz",
        "ALLOWED_HOSTS": "lumenkeep.example",
        "DATABASE_URL": f"postgres://{database['USER']}:{database['PASSWORD']}@{address}/{database['NAME']}",
        "REDIS_URL": settings.CELERY_BROKER_URL,
        "LUMENKEEP_DATA": str(data),
        "STATIC_ROOT": str(data / "static"),
        "TRAIL_KEY_FILE": str(settings.TRAIL_KEY_FILE),
        "LIST_KEY_FILE": str(settings.LIST_KEY_FILE),
    }


def words(command: list[str], data: Path, port: int) -> list[str]:
    """A command as the compose file has it, with this test's folder and port."""
    places = {DATA: str(data), "0.0.0.0:8000": f"127.0.0.1:{port}", "127.0.0.1:8000": f"127.0.0.1:{port}"}
    places |= {"0.0.0.0": "127.0.0.1", "2575": str(port)}
    for written, here in places.items():
        command = [word.replace(written, here) for word in command]
    return command


def run(command: list[str], data: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=ROOT, env=environment(data), check=False, capture_output=True, text=True, timeout=START_S
    )


@contextmanager
def container(name: str, data: Path, port: int = 0) -> Iterator[subprocess.Popen[str]]:
    """The service's process, healthy by the compose file's own health check; ended as an engine would."""
    service = SERVICES[name]
    with (data / f"{name}.log").open("w") as log:
        command = words(service["command"], data, port)
        process = subprocess.Popen(command, cwd=ROOT, env=environment(data), stdout=log, stderr=log, text=True)
        try:
            await_health(name, data, port)
            yield process
        finally:
            process.terminate()
            process.wait(START_S)


def await_health(name: str, data: Path, port: int) -> None:
    """Ask as the engine would until the answer is good."""
    check = words(SERVICES[name]["healthcheck"]["test"][1:], data, port)
    until = time.monotonic() + START_S
    while (asked := run(check, data)).returncode != 0:
        assert time.monotonic() < until, f"{asked.stderr}\n{(data / f'{name}.log').read_text()}"
        time.sleep(0.5)


def await_line(log: Path, part: str) -> None:
    """Wait until the log says it."""
    until = time.monotonic() + START_S
    while part not in log.read_text():
        assert time.monotonic() < until, log.read_text()
        time.sleep(0.2)


@pytest.mark.parametrize("name", [*OURS, "postgres", "redis"])
def test_service_has_health_check_restart_and_volume(name: str) -> None:
    service = SERVICES[name]
    assert service["healthcheck"]["test"][0] == "CMD"
    assert service["restart"] == "unless-stopped"
    data = [volume for volume in service["volumes"] if not volume.endswith(":/drop")]
    assert len(data) == 1


def test_only_the_worker_reaches_the_folder_of_the_machines() -> None:
    reach = [name for name in SERVICES if any(text.endswith(":/drop") for text in SERVICES[name].get("volumes", ()))]
    assert reach == ["worker"]
    assert SERVICES["worker"]["environment"]["LUMENKEEP_DROP"] == "/drop"


@pytest.mark.parametrize("name", OURS)
def test_service_waits_for_migrations_and_broker(name: str) -> None:
    waits = {other: how["condition"] for other, how in SERVICES[name]["depends_on"].items()}
    assert waits == {"migrate": "service_completed_successfully", "redis": "service_healthy"}


def test_image_runs_as_nobody_in_particular() -> None:
    lines = (ROOT / "Dockerfile").read_text().splitlines()
    assert [line for line in lines if line.startswith(("FROM ", "USER "))][1:] == ["USER lumenkeep"]
    assert "slim" in lines[1]


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_migrate_finds_nothing_left_to_do(tmp_path: Path) -> None:
    done = run(SERVICES["migrate"]["command"], tmp_path)
    assert done.returncode == 0, done.stderr
    assert "No migrations to apply." in done.stdout


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_web_answers(tmp_path: Path) -> None:
    collected = run(["python", "manage.py", "collectstatic", "--no-input"], tmp_path)
    assert collected.returncode == 0, collected.stderr
    port = free_port()
    with container("web", tmp_path, port):
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/") as answer:
            assert json.load(answer)["healthy"]
        manifest = json.loads((tmp_path / "static" / "staticfiles.json").read_text())
        style = manifest["paths"]["css/lumenkeep.css"]
        request = urllib.request.Request(f"http://127.0.0.1:{port}/static/{style}", headers=BEHIND_PROXY)
        with urllib.request.urlopen(request) as answer:
            assert answer.headers["Cache-Control"] == "max-age=315360000, public, immutable"


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_worker_runs_every_job_of_the_timetable(tmp_path: Path) -> None:
    jobs = [entry["task"] for entry in app.conf.beat_schedule.values()]
    assert jobs
    with container("worker", tmp_path):
        for job in jobs:
            sent = app.send_task(job)
            await_line(tmp_path / "worker.log", f"Task {job}[{sent.id}] succeeded")


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_beat_ticks(tmp_path: Path) -> None:
    with container("beat", tmp_path) as process:
        assert list(tmp_path.glob("beat-schedule*"))
    assert process.returncode == 0


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_listener_answers(tmp_path: Path) -> None:
    port = free_port()
    with container("listener", tmp_path, port) as process, socket.create_connection(("127.0.0.1", port)) as caller:
        caller.settimeout(START_S)
        caller.sendall(b"\x0bMSH|^~\\&|PLAN||||202701110900||ADT^A01|7|P|2.5\r\x1c\r")
        assert b"MSA|AR|7|" in caller.recv(4096)
    assert process.returncode == 0
