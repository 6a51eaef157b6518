"""What the coordinator writes."""

from __future__ import annotations

from datetime import time
from typing import Any

from django import forms

from instruments.models import Part
from lists.models import Procedure, Theatre
from trays.models import Template

FIRST_START = time(8)
"""Where the form of a new case begins on a day that was named; the person sets the time."""


class StartInput(forms.DateTimeInput):
    """A day and a time of day, as the browser asks for them."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


class DayForm(forms.Form):
    """A day to look at."""

    day = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}))


class CaseForm(forms.Form):
    """A case to put on a list."""

    reference = forms.CharField(
        label="List number of the case", help_text="As the list system numbers it.", max_length=40
    )
    theatre = forms.ModelChoiceField(
        Theatre.objects.all(), to_field_name="code", empty_label="Choose a theatre", label="Theatre"
    )
    procedure = forms.ModelChoiceField(
        Procedure.objects.all(), to_field_name="code", empty_label="Choose a procedure", label="Procedure"
    )
    starts_at = forms.DateTimeField(label="Start", widget=StartInput)
    duration_min = forms.IntegerField(label="Duration, in minutes", min_value=1, max_value=1440)
    planned_size = forms.CharField(
        label="Planned size", help_text="As its barrel is labelled: 8.0.", max_length=20, required=False
    )
    planned_implant = forms.CharField(
        label="Planned implant",
        help_text="Diameter × length in mm: 14 × 40. Or the code of a part.",
        max_length=20,
        required=False,
    )
    operator = forms.CharField(
        label="Operator", help_text="A pseudonymous code, never a name.", max_length=20, required=False
    )
    patient_ref = forms.CharField(
        label="Patient reference", help_text="A pseudonym: no name, no number.", max_length=64, required=False
    )


class MoveForm(forms.Form):
    """Another time, and perhaps another theatre."""

    starts_at = forms.DateTimeField(label="New start", widget=StartInput)
    theatre = forms.ModelChoiceField(
        Theatre.objects.all(), to_field_name="code", required=False, empty_label="The same theatre"
    )


class RequirementForm(forms.Form):
    """One more set, or one more single pack."""

    template = forms.ModelChoiceField(
        Template.objects.all(), to_field_name="code", label="A set", required=False, empty_label="No set"
    )
    part = forms.ModelChoiceField(
        Part.objects.all(),
        to_field_name="code",
        label="Or a single pack",
        required=False,
        empty_label="No single pack",
    )
    reason = forms.CharField(label="Why", max_length=200)

    def clean(self) -> dict[str, Any]:
        """One of the two, not both."""
        cleaned = super().clean() or {}
        if not {"template", "part"} & set(self.errors) and bool(cleaned["template"]) == bool(cleaned["part"]):
            self.add_error("template", "Name one set or one single pack.")
        return cleaned


class ReasonForm(forms.Form):
    """Why something is taken off."""

    reason = forms.CharField(label="Why", max_length=200)


class NeedsForm(forms.Form):
    """What a procedure needs, or an operator asks for beside it."""

    procedure = forms.ModelChoiceField(
        Procedure.objects.all(), to_field_name="code", required=False, empty_label="Every procedure"
    )
    operator = forms.CharField(
        label="Operator",
        help_text="A pseudonymous code, never a name. Empty: what the procedure needs whoever does it.",
        max_length=20,
        required=False,
    )
    needs = forms.CharField(
        label="Needs, one on each line",
        help_text=(
            "template:CODE, part:CODE or backup:PART, with :2 for two; sizes:SERIES:1:1 for the planned size with one "
            "below and one above; implant:1:1 for the planned implant with its neighbours."
        ),
        widget=forms.Textarea(attrs={"rows": 5}),
        required=False,
    )

    def clean_needs(self) -> tuple[str, ...]:
        """Each line that holds something."""
        return tuple(line.strip() for line in self.cleaned_data["needs"].splitlines() if line.strip())


class StandingForm(forms.Form):
    """How many trays of a template must be sterile, and when."""

    template = forms.ModelChoiceField(
        Template.objects.all(), to_field_name="code", empty_label="Choose a set", label="Set"
    )
    minimum = forms.IntegerField(label="At least so many sterile", min_value=0, max_value=99)
    from_time = forms.CharField(label="From", help_text="HH:MM. Empty: at all times.", max_length=5, required=False)
    until_time = forms.CharField(label="Until", help_text="HH:MM.", max_length=5, required=False)
    otherwise = forms.IntegerField(label="At other hours at least", min_value=0, max_value=99, initial=0)


class CodeForm(forms.Form):
    """Which of our theatres or procedures another system's code means."""

    sender = forms.CharField(widget=forms.HiddenInput, max_length=60)
    code = forms.CharField(widget=forms.HiddenInput, max_length=60)

    def __init__(self, *args: Any, kind: str, **more: Any) -> None:
        super().__init__(*args, **more)
        rows = (Theatre if kind == "theatre" else Procedure)._default_manager.all()
        self.fields[kind] = forms.ModelChoiceField(
            rows, to_field_name="code", label=f"Our {kind}", empty_label=f"Choose a {kind}"
        )


class AsideForm(forms.Form):
    """Why a message is not to be applied."""

    reason = forms.CharField(label="Why it is not to be applied", max_length=400)
