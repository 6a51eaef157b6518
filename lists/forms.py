"""What the coordinator writes."""

from __future__ import annotations

from django import forms

from instruments.models import Part
from lists.models import Procedure, Theatre
from trays.models import Template

START = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")


class CaseForm(forms.Form):
    """A case to put on a list."""

    reference = forms.CharField(label="List number of the case", max_length=40)
    theatre = forms.ModelChoiceField(Theatre.objects.all(), to_field_name="code")
    procedure = forms.ModelChoiceField(Procedure.objects.all(), to_field_name="code")
    starts_at = forms.DateTimeField(label="Start", widget=START)
    duration_min = forms.IntegerField(label="Duration, in minutes", min_value=1, max_value=1440)
    planned_size = forms.CharField(label="Planned size", max_length=20, required=False)
    patient_ref = forms.CharField(
        label="Patient reference", help_text="A pseudonym: no name, no number.", max_length=64, required=False
    )


class MoveForm(forms.Form):
    """Another time, and perhaps another theatre."""

    starts_at = forms.DateTimeField(label="New start", widget=START)
    theatre = forms.ModelChoiceField(
        Theatre.objects.all(), to_field_name="code", required=False, empty_label="The same theatre"
    )


class RequirementForm(forms.Form):
    """One more set, or one more pack."""

    template = forms.ModelChoiceField(
        Template.objects.all(), to_field_name="code", required=False, empty_label="No tray"
    )
    part = forms.ModelChoiceField(
        Part.objects.all(),
        to_field_name="code",
        label="or single pack of",
        required=False,
        empty_label="No single pack",
    )
