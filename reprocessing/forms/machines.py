"""Forms of machines: service, tests, closures."""

from __future__ import annotations

from typing import Any

from django import forms

from reprocessing.forms.fields import NO, YES, choice_field, reason_field, verdict_field
from reprocessing.models import Machine
from reprocessing.states import DAY_TESTS, MachineKind


class MachineForm(forms.Form):
    """A step on a machine."""

    def __init__(self, *args: Any, machine: Machine, **more: Any) -> None:
        super().__init__(*args, **more)
        self.machine = machine


class MachineReason(MachineForm):
    """Why a machine leaves or comes back."""

    reason = reason_field()


class Test(MachineForm):
    """A periodic test and its result."""

    kind = choice_field("Test", ())
    passed = verdict_field("Result", ((YES, "Passed"), (NO, "Failed")))
    note = forms.CharField(max_length=200, required=False, label="Note")

    def __init__(self, *args: Any, machine: Machine, **more: Any) -> None:
        super().__init__(*args, machine=machine, **more)
        kinds = DAY_TESTS[MachineKind(machine.kind)]
        self.fields["kind"].choices = [(kind, str(kind).capitalize()) for kind in kinds]  # type: ignore[attr-defined]


class Moment(forms.DateTimeInput):
    """A day and a time of day, picked."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


class PlanClosure(MachineForm):
    """From when until when a machine is closed, and what for."""

    starts_at = forms.DateTimeField(label="From", widget=Moment)
    ends_at = forms.DateTimeField(label="Until", widget=Moment)
    reason = forms.CharField(label="What for", max_length=400)


class LiftClosure(MachineReason):
    """The closure that is lifted, and why."""

    closure_id = forms.IntegerField(widget=forms.HiddenInput)
