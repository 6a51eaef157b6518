"""Jobs that plan days: make the plan that was asked for, and ask for a plan where something has changed."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from typing import IO, Any

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from journal.reads import policies, trail_mark
from lists.actions import end_plan, keep_progress, plan_anew, plan_on_time, take_up_plan
from lists.chances.forecast import chances
from lists.models import DayLook, DayPlanRow
from lists.plans.changes import changed
from lists.plans.day_facts import DayFacts, PlannedDay, scenario_of
from lists.plans.day_plan import DayPlan, stored
from lists.plans.documents import read_plan, written_scenario
from lists.plans.planning import plan
from lists.plans.scenario import Plan
from lists.plans.set_times import days_to_watch, last_set_time
from lists.reads import day_facts, listed_days
from lists.states import PlanState

LOOK_S = 0.5  # how often a plan under way is looked at: how soon it is stopped, and how old its progress is
LONGEST_S = 180.0  # the search itself stops after half a minute; on a machine that is busy it takes longer
SIGN = timedelta(seconds=10)  # how often a worker gives a sign, at least
LOOK_AGAIN = timedelta(minutes=10)  # what the clock alone changes, and settings that no trail has, may be so old
SET_HOURS = ("plan_first_hour", "plan_second_hour", "sheet_hour")


class Unplanned(Exception):
    """The computation gave no plan; the sentence is what it said."""


@shared_task(name="lists.tasks.make_plan")
def make_plan() -> None:
    """Make the plan that is due: a first one at once, then the search in a process of its own."""
    row = take_up_plan(at=timezone.now())
    if row is None:
        return
    try:
        _make(row)
    except Exception as fault:
        logging.getLogger(__name__).exception("The %s has failed", row)
        end_plan(row, PlanState.FAILED, at=timezone.now(), fault=str(fault) or type(fault).__name__)


def _make(row: DayPlanRow) -> None:
    now = timezone.localtime()
    facts = day_facts(row.day, at=now, careful=row.careful)
    planned = scenario_of(facts, now=now)
    before = DayPlanRow.objects.filter(day=row.day, pk__lt=row.pk).usable().first()
    known = _known(row, facts, planned, plan(planned.scenario, stop=lambda: True), before)
    going = keep_progress(row, at=timezone.now(), fingerprint=facts.fingerprint, **known)
    found = _searched(row, planned) if going else None
    if found is None:
        end_plan(row, PlanState.CANCELLED, at=timezone.now())
        return
    end_plan(row, PlanState.DONE, at=timezone.now(), **_known(row, facts, planned, found, before))


def _known(
    row: DayPlanRow, facts: DayFacts, planned: PlannedDay, found: Plan, before: DayPlanRow | None
) -> dict[str, Any]:
    """A plan with its chances, and what it says otherwise than the one before."""
    zone = timezone.get_default_timezone()
    result = json.loads(json.dumps(stored(facts, planned, found, chances(planned.scenario, found))))
    earlier = before.result if before is not None and before.careful == row.careful else None
    outcomes, causes = changed(DayPlan(earlier, zone) if earlier else None, DayPlan(result, zone))
    return {"result": result, "outcomes": outcomes, "causes": causes}


def _searched(row: DayPlanRow, planned: PlannedDay) -> Plan | None:
    """The plan of `manage.py compute plan`; None when somebody asked to stop it.

    Raises:
        Unplanned: the process ended without a plan.
    """
    document = json.dumps(written_scenario(planned.scenario)).encode()
    with _computing(document) as (process, answer, said):
        began = time.monotonic()
        progress: dict[str, Any] = {}
        while process.poll() is None:
            if time.monotonic() - began > LONGEST_S:
                raise Unplanned(f"The search did not end within {LONGEST_S:g} s.")
            newest = _last(said) or progress
            if newest != progress or row.alive_at is None or timezone.now() - row.alive_at > SIGN:
                progress = newest
                if not keep_progress(row, at=timezone.now(), progress=progress):
                    return None
            if row.is_to_stop:
                return None
            time.sleep(LOOK_S)
        if process.returncode:
            said.seek(0)
            raise Unplanned(said.read().decode(errors="replace").strip()[-300:] or f"exit status {process.returncode}")
        answer.seek(0)
        return read_plan(json.loads(answer.read()))


@contextmanager
def _computing(document: bytes) -> Iterator[tuple[subprocess.Popen[bytes], IO[bytes], IO[bytes]]]:
    """The computation under way, its answer and what it says of its progress; it is ended with the block."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "compute", "plan", "--progress"]
    with tempfile.TemporaryFile() as asked, tempfile.TemporaryFile() as answer, tempfile.TemporaryFile() as said:
        asked.write(document)
        asked.seek(0)
        process = subprocess.Popen(command, stdin=asked, stdout=answer, stderr=said)
        try:
            yield process, answer, said
        finally:
            process.kill()
            process.wait()


def _last(said: IO[bytes]) -> dict[str, Any]:
    """The last whole line of progress, read without moving where the process writes."""
    lines = os.pread(said.fileno(), 1 << 16, 0).split(b"\n")[:-1]
    for line in reversed(lines):
        try:
            found = json.loads(line)
        except ValueError:
            continue
        if isinstance(found, dict):
            return found
    return {}


@shared_task(name="lists.tasks.watch_days")
def watch_days() -> None:
    """Ask for plans of the days ahead that have changed, and of those and today when a set time has come."""
    at = timezone.now()
    today, mark = timezone.localdate(at), trail_mark()
    days = days_to_watch(today, listed_days)
    for day in days:
        plan_anew(day, _looked_at(day, mark, at), at=at)
    values = policies()
    due = last_set_time(timezone.localtime(at), [int(values[name]) for name in SET_HOURS])
    for day in [*listed_days(today, today), *days]:
        plan_on_time(day, due, at=at)


def _looked_at(day: date, mark: str, at: datetime) -> str:
    """The fingerprint of what a day's plan would go by; read anew when something was recorded, or after a while."""
    latest = DayPlanRow.objects.filter(day=day).first()
    careful = latest is not None and latest.careful
    known = DayLook.objects.filter(day=day, careful=careful, mark=mark, looked_at__gt=at - LOOK_AGAIN).first()
    if known is not None:
        return known.fingerprint
    fingerprint = day_facts(day, at=at, careful=careful).fingerprint  # first looked at, then written: no lock is held
    found = {"careful": careful, "mark": mark, "fingerprint": fingerprint, "looked_at": at}
    DayLook.objects.update_or_create(day=day, defaults=found)
    return fingerprint
