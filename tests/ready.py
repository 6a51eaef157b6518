"""Loaded once by the process from which `tests.dying` forks its workers: all that a worker imports."""

import django

django.setup()

import config.urls  # noqa: E402, F401
from config.celery import app  # noqa: E402

app.loader.import_default_modules()
