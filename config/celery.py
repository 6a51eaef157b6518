"""The Celery application; tasks live in each app's tasks.py, the timetable here."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")

app = Celery("lumenkeep")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
