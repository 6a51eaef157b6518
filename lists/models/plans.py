"""Plans of days: who asked, how far it is, and what came out; and since when a day is to be planned anew."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from journal.append_only import frozen
from journal.models import Person
from lists.states import OPEN_PLANS, PlanState

_STATES = [(str(state), str(state)) for state in PlanState]
_OVER = "{row}.state IN ('done', 'cancelled', 'failed')"


class DayPlanQuerySet(models.QuerySet["DayPlanRow"]):
    """Requests for plans, chainable."""

    def still_open(self) -> DayPlanQuerySet:
        """Those that are still to be made, in the order in which they were asked for."""
        return self.filter(state__in=OPEN_PLANS).order_by("pk")

    def usable(self) -> DayPlanQuerySet:
        """Those with a plan in them, the latest first; one under way has the best so far."""
        return self.filter(result__isnull=False).order_by("-pk")


@frozen(_OVER, update=_OVER.format(row="OLD"))
class DayPlanRow(models.Model):
    """A request for the plan of a day, and its result; frozen once it is over."""

    day = models.DateField()
    careful = models.BooleanField(default=False, help_text="By the stage times that eight of ten keep.")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="+", help_text="Empty: the timetable."
    )
    state = models.CharField(max_length=10, choices=_STATES, default=PlanState.ASKED)
    stop_asked_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    alive_at = models.DateTimeField(null=True, blank=True, help_text="When its worker last gave a sign.")
    progress = models.JSONField(default=dict, blank=True, help_text="The measure sought, weight on time and bound.")
    fingerprint = models.CharField(max_length=64, blank=True, help_text="Of all that it goes by.")
    result = models.JSONField(null=True, blank=True, help_text="The best plan so far, or the last.")
    outcomes = models.JSONField(default=list, blank=True, help_text="What it says otherwise than the one before.")
    causes = models.JSONField(default=list, blank=True, help_text="What has happened since the one before.")
    ended_at = models.DateTimeField(null=True, blank=True)
    fault = models.CharField(max_length=400, blank=True)

    objects: ClassVar[Any] = DayPlanQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["day", "-id"], name="day_plan_latest")]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(PlanState)), name="day_plan_state_known"),
            models.UniqueConstraint(
                fields=["day"], condition=Q(state__in=[str(state) for state in OPEN_PLANS]), name="day_plan_one_open"
            ),
            models.UniqueConstraint(
                fields=["state"], condition=Q(state=PlanState.RUNNING), name="day_plan_one_running"
            ),
            models.CheckConstraint(
                condition=Q(state__in=[str(state) for state in OPEN_PLANS], ended_at=None)
                | (~Q(state__in=[str(state) for state in OPEN_PLANS]) & Q(ended_at__isnull=False)),
                name="day_plan_over_when",
            ),
            models.CheckConstraint(
                condition=~Q(state=PlanState.DONE) | (Q(result__isnull=False) & ~Q(fingerprint="")),
                name="day_plan_done_has_result",
            ),
            models.CheckConstraint(
                condition=Q(state=PlanState.FAILED) & ~Q(fault="") | ~Q(state=PlanState.FAILED) & Q(fault=""),
                name="day_plan_failed_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"plan of {self.day:%d-%b-%Y}"

    @property
    def is_open(self) -> bool:
        """Whether it is still being made."""
        return self.state in OPEN_PLANS

    @property
    def is_to_stop(self) -> bool:
        """Whether somebody has asked to stop it, as it stands in the database now."""
        return DayPlanRow.objects.filter(pk=self.pk, stop_asked_by__isnull=False).exists()


class ToPlanAnew(models.Model):
    """A day of which something has changed since it was planned."""

    day = models.DateField(unique=True)
    since = models.DateTimeField()
    fingerprint = models.CharField(max_length=64, help_text="As it was when last looked at.")
    quiet_since = models.DateTimeField(help_text="Since when it has been like that.")

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day:%d-%b-%Y} since {self.since:%H:%M}"


class DayLook(models.Model):
    """What the last look at a day found, so that it is not read again while nothing has happened."""

    day = models.DateField(unique=True)
    careful = models.BooleanField()
    mark = models.CharField(max_length=200, help_text="The newest line of each trail then.")
    fingerprint = models.CharField(max_length=64)
    looked_at = models.DateTimeField()

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day:%d-%b-%Y} at {self.looked_at:%H:%M}"
