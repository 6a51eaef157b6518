"""What a cycle is judged by: its trace and indicators; and the signed decision."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from journal.append_only import append_only
from journal.models import Person
from reprocessing.device_message import DeviceMessage
from reprocessing.models.loads import Load
from reprocessing.states import IndicatorKind, LoadState, Result

_INDICATORS = [(str(kind), str(kind)) for kind in IndicatorKind]
_RESULTS = [(str(result), str(result)) for result in Result]
_DECISIONS = [(str(state), str(state)) for state in (LoadState.RELEASED, LoadState.REJECTED)]


@append_only
class Trace(models.Model):
    """A cycle's recorded time, temperature and pressure: the file as received, and its judgement then."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="traces")
    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64, unique=True)
    content = models.TextField(help_text="The file as received.")
    columns = models.JSONField(null=True, help_text="What its columns were taken to hold; empty: its names say it.")
    judgement = models.JSONField(help_text="Evidence rows and numbers by the limits in force then.")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.file_name


@append_only
class DeviceReport(models.Model):
    """A machine's own message of a load's cycle: as received, and what it says."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="device_reports")
    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64, unique=True)
    content = models.TextField(help_text="The message as received.")
    device = models.CharField(max_length=80, help_text="The machine's own number, as it sends it.")
    control_id = models.CharField(max_length=80, help_text="One for each message of a machine.")
    said = models.JSONField(help_text="What was read of it.")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["device", "control_id"], name="device_report_once"),
        ]

    def __str__(self) -> str:
        return self.file_name

    def as_message(self) -> DeviceMessage:
        """What was read of it."""
        return DeviceMessage.from_dict(self.said)


class Indicator(models.Model):
    """A chemical or biological indicator that went with a load."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="indicators")
    kind = models.CharField(max_length=20, choices=_INDICATORS)
    lot = models.CharField(max_length=40)
    result = models.CharField(max_length=10, choices=_RESULTS, default=Result.WAITING)
    read_at = models.DateTimeField(null=True, blank=True)
    read_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(IndicatorKind)), name="indicator_kind_known"),
            models.CheckConstraint(condition=~Q(lot=""), name="indicator_has_lot"),
            models.CheckConstraint(
                condition=Q(result=Result.WAITING, read_at=None, read_by=None)
                | Q(result__in=[Result.PASSED, Result.FAILED], read_at__isnull=False, read_by__isnull=False),
                name="indicator_read_by_name",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.result}"


@append_only
class Release(models.Model):
    """A named person's signed decision on a load, with the evidence as it stood."""

    load = models.OneToOneField(Load, models.PROTECT, related_name="decision")
    decision = models.CharField(max_length=10, choices=_DECISIONS)
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.CharField(max_length=400, blank=True)
    evidence = models.JSONField()
    alone = models.CharField(max_length=300, blank=True, help_text="Single-staffing exception, reviewed next day.")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(decision=LoadState.RELEASED) | (Q(decision=LoadState.REJECTED) & ~Q(reason="")),
                name="release_rejected_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.load} {self.decision}"


@append_only
class ExceptionalRelease(models.Model):
    """The form by which an implant load goes out before its biological result."""

    load = models.OneToOneField(Load, models.PROTECT, related_name="exceptional_release")
    implants = models.CharField(max_length=300)
    case_reference = models.CharField(max_length=40)
    authorised_by = models.CharField(max_length=80, help_text="The operator who asks for it.")
    reason = models.CharField(max_length=400)
    avoidable_by = models.CharField(max_length=400, help_text="What would have avoided it.")
    signed_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(implants="")
                & ~Q(case_reference="")
                & ~Q(authorised_by="")
                & ~Q(reason="")
                & ~Q(avoidable_by=""),
                name="exceptional_release_complete",
            ),
        ]

    def __str__(self) -> str:
        return f"exceptional release of {self.load}"
