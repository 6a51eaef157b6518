"""The verbs of a day's plan: ask for it, stop it; and what the job that makes it writes down on the way."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from journal.actions import Act, Done, action, need
from journal.findings import Refused, stop, unknown
from journal.reads import policy
from journal.roles import Right
from lists.models import DayPlanRow, ToPlanAnew
from lists.states import PlanState

FURTHEST = timedelta(days=30)
"""A day beyond that is not planned: where trays stand now says nothing of it."""
ABANDONED = timedelta(seconds=60)
"""A plan whose worker has given no sign for so long died with it."""


@action
def ask_for_plan(day: date, *, careful: bool = False, act: Act) -> Done:
    """Ask for the plan of a day; a job makes it. While one is being made, it is that one that is asked for.

    `careful`: by the stage times that eight of ten keep, as learned, instead of the policies.
    """
    need(Right.PLAN, "plan", f"{day:%d-%b-%Y}", act)
    today = timezone.localdate(act.at)
    if not today <= day <= today + FURTHEST:
        found = f"it is {day:%d-%b-%Y}, must be from {today:%d-%b-%Y} to {today + FURTHEST:%d-%b-%Y}."
        raise Refused(stop("day-out-of-range", str(day), f"Cannot plan the day: {found}", "Choose another day."))
    row, new = _open_plan(day, careful=careful, at=act.at, by=act.by)
    sentence = f"The plan of {day:%a %d-%b-%Y} is being made{'' if new else ' already'}."
    return _done("ask_for_plan", row, sentence, "The page shows how far it is.")


@action
def cancel_plan(plan: int, *, act: Act) -> Done:
    """Stop a plan that is being made; the best that was found so far stays."""
    need(Right.PLAN, "stop", f"plan {plan}", act)
    row = DayPlanRow.objects.select_for_update(of=("self",)).filter(pk=plan).first()
    if row is None:
        raise Refused(unknown("plan", str(plan)))
    if not row.is_open:
        found = f"it is {row.state}, must be asked or running."
        raise Refused(stop("wrong-state", str(row), f"Cannot stop the {row}: {found}"))
    row.stop_asked_by = act.by
    if row.state == PlanState.ASKED:
        row.state, row.ended_at = PlanState.CANCELLED, act.at
    row.save(update_fields=["stop_asked_by", "state", "ended_at"])
    return _done("cancel_plan", row, f"The {row} is stopped.", "The best found so far stays.")


def _done(verb: str, row: DayPlanRow, sentence: str, next_step: str) -> Done:
    return Done(verb, "plan", row.pk, str(row.day), row.state, sentence, next_step)


def _open_plan(day: date, *, careful: bool, at: datetime, by: Any = None) -> tuple[DayPlanRow, bool]:
    """The open request of a day, made if there is none."""
    found = DayPlanRow.objects.still_open().filter(day=day).first()
    if found is not None:
        return found, False
    try:
        with transaction.atomic():
            return DayPlanRow.objects.create(day=day, careful=careful, asked_at=at, asked_by=by), True
    except IntegrityError:  # somebody else was faster
        return DayPlanRow.objects.still_open().get(day=day), False


def take_up_plan(*, at: datetime) -> DayPlanRow | None:
    """The plan to make now: one at a time, those first that were asked for first, or that a dead worker left.

    Whoever marks it does it, and nobody else.
    """
    dead = Q(state=PlanState.RUNNING, alive_at__lt=at - ABANDONED)
    row = DayPlanRow.objects.filter(dead | Q(state=PlanState.ASKED)).order_by("-state", "pk").first()
    if row is None:
        return None
    mine = DayPlanRow.objects.filter(pk=row.pk, state=row.state, alive_at=row.alive_at)
    try:
        with transaction.atomic():
            taken = mine.update(state=PlanState.RUNNING, alive_at=at)
    except IntegrityError:  # another is running
        return None
    return DayPlanRow.objects.get(pk=row.pk) if taken else None


def keep_progress(plan: DayPlanRow, *, at: datetime, **known: Any) -> bool:
    """Write down that a plan is under way, and what is known by now.

    Returns:
        Whether to go on: not when somebody asked to stop it, or another worker has taken it up.
    """
    mine = DayPlanRow.objects.filter(pk=plan.pk, state=PlanState.RUNNING, alive_at=plan.alive_at)
    if not mine.update(alive_at=at, **known):
        return False
    plan.alive_at = at
    return not plan.is_to_stop


def end_plan(plan: DayPlanRow, state: PlanState, *, at: datetime, fault: str = "", **known: Any) -> None:
    """Write down the last of a plan; of one that another worker has taken up nothing is written."""
    most = DayPlanRow._meta.get_field("fault").max_length
    mine = DayPlanRow.objects.filter(pk=plan.pk, state=PlanState.RUNNING, alive_at=plan.alive_at)
    mine.update(state=state, ended_at=at, fault=fault[:most], **known)


def plan_anew(day: date, fingerprint: str, *, at: datetime) -> bool:
    """Ask for a day's plan if what it goes by has changed and been quiet since, or has changed for long.

    Safe to run twice: the row of the day goes with the request that it led to.

    Args:
        day: the day.
        fingerprint: of what its plan would go by now.
        at: the moment of looking.

    Returns:
        Whether a plan was asked for.
    """
    latest = DayPlanRow.objects.filter(day=day).first()
    if latest is not None and (latest.is_open or latest.fingerprint == fingerprint):
        if ToPlanAnew.objects.filter(day=day).exists():  # most times there is none, and nobody is held up
            ToPlanAnew.objects.filter(day=day).delete()
        return False
    with transaction.atomic():
        row, _ = ToPlanAnew.objects.select_for_update().get_or_create(
            day=day, defaults={"since": at, "fingerprint": fingerprint, "quiet_since": at}
        )
        if row.fingerprint != fingerprint:
            row.fingerprint, row.quiet_since = fingerprint, at
            row.save(update_fields=["fingerprint", "quiet_since"])
        quiet = at - row.quiet_since >= timedelta(seconds=int(policy("plan_quiet_s")))
        if not quiet and at - row.since < timedelta(seconds=int(policy("plan_latest_s"))):
            return False
        row.delete()
        careful = latest is not None and latest.careful
        return _open_plan(day, careful=careful, at=at)[1]


def plan_on_time(day: date, due: datetime, *, at: datetime) -> bool:
    """Ask for a day's plan if none was asked for since a set time: the same facts leave less time than they did.

    A day that changes is left to `plan_anew`, which waits until it is quiet. Safe to run twice.

    Returns:
        Whether a plan was asked for.
    """
    latest = DayPlanRow.objects.filter(day=day).first()
    if latest is not None and (latest.is_open or latest.asked_at >= due):
        return False
    if ToPlanAnew.objects.filter(day=day).exists():
        return False
    return _open_plan(day, careful=latest is not None and latest.careful, at=at)[1]
