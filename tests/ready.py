"""Loaded once by the process from which `tests.dying` forks its workers: all that a worker imports."""

from importlib import import_module

import django

django.setup()

for name in ("config.urls", "config.embedded", "celery.bin.celery", "celery.apps.worker", "kombu.transport.redis"):
    import_module(name)
import_module("config.celery").app.loader.import_default_modules()
