"""The Celery application; tasks live in each app's tasks.py, the timetable here."""

import os

from celery import Celery

# For the `celery` command, which is of use in production only: `manage.py serve` runs the jobs elsewhere.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.production")

app = Celery("lumenkeep")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
