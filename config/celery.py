"""The Celery application; tasks live in each app's tasks.py, the timetable here."""

import os

from celery import Celery
from celery.signals import worker_ready

# For the `celery` command, which is of use in production only: `manage.py serve` runs the jobs elsewhere.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.production")

app = Celery("lumenkeep")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

# Each job looks at everything and may run twice: a run that was missed is made up by the next.
app.conf.beat_schedule = {
    "seal": {"task": "journal.tasks.seal_trail", "schedule": 60.0},
    "trail": {"task": "journal.tasks.watch_trail", "schedule": 60.0},
    "ladder": {"task": "journal.tasks.climb_notices", "schedule": 60.0},
    "outside": {"task": "journal.tasks.send_notices", "schedule": 30.0},
    "life": {"task": "instruments.tasks.watch_life", "schedule": 15 * 60.0},
    "loans": {"task": "instruments.tasks.watch_loans", "schedule": 15 * 60.0},
    "stock": {"task": "trays.tasks.watch_stock", "schedule": 15 * 60.0},
    "expiry": {"task": "trays.tasks.watch_expiry", "schedule": 15 * 60.0},
    "records": {"task": "reprocessing.tasks.take_in_records", "schedule": 30.0},
    "decisions": {"task": "reprocessing.tasks.watch_decisions", "schedule": 2 * 60.0},
    "machines": {"task": "reprocessing.tasks.watch_machines", "schedule": 10 * 60.0},
    "cases": {"task": "lists.tasks.watch_cases", "schedule": 5 * 60.0},
    "changes": {"task": "lists.tasks.watch_changes", "schedule": 60.0},
    "sheets": {"task": "lists.tasks.print_go_sheets", "schedule": 60.0},
    "messages": {"task": "lists.tasks.take_in_lists", "schedule": 30.0},
    "plans": {"task": "lists.tasks.make_plan", "schedule": 3.0},
    "replan": {"task": "lists.tasks.watch_days", "schedule": 60.0},
    "completion": {"task": "lists.tasks.watch_completion", "schedule": 5 * 60.0},
}  # seconds


@worker_ready.connect
def look_at_once(**_: object) -> None:
    """A worker that starts has every job done once: what happened while none ran is told without delay."""
    for entry in app.conf.beat_schedule.values():
        app.send_task(entry["task"])
