"""Forms of what a machine draws on, and of its periodic tests."""

from __future__ import annotations

from typing import Any

from django import forms

from reprocessing.forms.fields import NO, YES, choice_field
from reprocessing.forms.machines import MachineForm, MachineReason, Moment
from reprocessing.models import Machine, PeriodicTest
from reprocessing.periodic import About
from reprocessing.states import MachineKind


class Day(forms.DateInput):
    """A day, picked."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class PutLotInUse(MachineForm):
    """What its container says."""

    product = forms.CharField(max_length=80, label="Product", help_text="Detergent, neutraliser, sterilant …")
    lot = forms.CharField(max_length=40, label="Lot")
    expires = forms.DateField(required=False, label="Expires", widget=Day)
    opened = forms.DateField(required=False, label="Opened", widget=Day)


class TakeLotOutOfUse(MachineReason):
    """The lot that is disconnected, and why."""

    lot_id = forms.IntegerField(widget=forms.HiddenInput)


class RecordPeriodic(MachineForm):
    """A result of a periodic test: a value where it is measured, else passed or failed."""

    test = forms.TypedChoiceField(label="Test", coerce=int)
    value = forms.FloatField(required=False, label="Value", help_text="In the unit of the test, where it has one.")
    less_than = forms.BooleanField(required=False, label="Reported as less than this value")
    passed = choice_field(
        "Result, where nothing is measured",
        ((YES, "Passed"), (NO, "Failed")),
        required=False,
        coerce=lambda value: value == YES,
        empty_value=None,
    )
    taken_at = forms.DateTimeField(required=False, label="Done or sampled", help_text="Empty: now.", widget=Moment)
    reported_by = forms.CharField(max_length=80, required=False, label="Laboratory or test person")
    note = forms.CharField(max_length=200, required=False, label="Report number, remarks")

    def __init__(self, *args: Any, machine: Machine, **more: Any) -> None:
        super().__init__(*args, machine=machine, **more)
        tests = PeriodicTest.objects.in_force().of(machine)
        choices = [("", "Choose the test"), *((test.pk, test.label) for test in tests)]
        self.fields["test"].choices = choices  # type: ignore[attr-defined]


class AskPeriodic(forms.Form):
    """A periodic test as the unit asks for it."""

    kind = forms.ChoiceField(label="Machines", choices=[(kind, str(kind).capitalize()) for kind in MachineKind])
    machine = forms.ChoiceField(required=False, label="Only this machine")
    about = forms.ChoiceField(label="Looks at", choices=[(about, str(about).capitalize()) for about in About])
    name = forms.CharField(max_length=80, label="Name")
    every_days = forms.IntegerField(min_value=1, label="Every so many days", help_text="7, 91, 365 …")
    forbids_start = forms.BooleanField(
        required=False,
        label="No routine load starts without it",
        help_text="From now on, until its first result.",
    )
    unit = forms.CharField(max_length=20, required=False, label="Unit, where it is measured", help_text="µS/cm …")
    least = forms.FloatField(required=False, label="At least")
    most = forms.FloatField(required=False, label="At most")
    source = forms.CharField(max_length=200, label="Where that is asked for", help_text="Standard and clause, policy.")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        choices = [("", "Each of its kind"), *Machine.objects.values_list("code", "name")]
        self.fields["machine"].choices = choices  # type: ignore[attr-defined]
