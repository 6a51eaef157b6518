"""Forms of the closures of machines."""

from __future__ import annotations

from django import forms

from reprocessing.forms import MachineForm, MachineReason


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
