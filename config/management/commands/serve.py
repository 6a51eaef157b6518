"""`manage.py serve`: the embedded shape, pages and jobs in one process on SQLite."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
from types import FrameType
from typing import Any, NoReturn

import waitress
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.wsgi import get_wsgi_application

from config import embedded
from config.celery import app

WEB_THREADS = 8


class Command(BaseCommand):
    """Serve until Ctrl-C or SIGTERM; one process per data folder."""

    help = "Serve pages and run jobs in one process, the shape that needs no other server."
    requires_migrations_checks = True

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: %(default)s)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default: %(default)s)")

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        """Lock the data folder, take the port, run the jobs, serve."""
        if not settings.CELERY_BROKER_URL.startswith("memory:"):
            raise CommandError(
                "Cannot serve: the settings name a broker, and this command is for the embedded shape without one. "
                "Run gunicorn, a Celery worker and Celery beat as in docker-compose.yml."
            )
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, _end)
        try:
            with embedded.only_process(settings.DATA_DIR / "serve.lock"):
                self._serve(self._server(host, port))
        except embedded.Occupied as occupied:
            raise CommandError(
                f"Cannot serve from {settings.DATA_DIR}: process {occupied.pid} does so already, only one may. "
                f"Use the one that runs, or end it first: kill {occupied.pid}"
            ) from occupied
        self.stdout.write("Stopped.")

    def _server(self, host: str, port: int) -> Any:
        try:
            return waitress.create_server(
                get_wsgi_application(), host=host, port=port, threads=WEB_THREADS, ident=None
            )
        except OSError as refusal:
            if refusal.errno != errno.EADDRINUSE:
                raise CommandError(f"Cannot serve on {host}:{port}: {refusal.strerror}.") from refusal
            raise CommandError(
                f"Cannot serve on {host}:{port}: another program uses this port, it must be free. "
                f"End that program or choose another port: make run PORT={port + 1}"
            ) from refusal

    def _serve(self, server: Any) -> None:
        try:
            with embedded.jobs(app, settings.DATA_DIR / "beat-schedule"):
                address = f"http://{server.effective_host}:{server.effective_port}/"
                self.stdout.write(f"Lumenkeep answers on {address} (Ctrl-C ends it)")
                self.stdout.flush()
                server.run()
        finally:
            server.close()
        self._leave_hanging_jobs()

    def _leave_hanging_jobs(self) -> None:
        """Python waits for pool threads at exit without end; a job that has had its time must not hold us."""
        if any(thread.name == embedded.WORKER for thread in threading.enumerate()):
            self.stdout.write("Stopped; a job did not end in time and will be run again after the next start.")
            sys.stdout.flush()
            os._exit(os.EX_OK)


def _end(_signal: int, _frame: FrameType | None) -> NoReturn:
    raise SystemExit(os.EX_OK)
