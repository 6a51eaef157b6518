"""Forms of non-conformities: what a step must be told."""

from __future__ import annotations

from django import forms

from journal.roles import Role
from reprocessing.forms.fields import NO, YES, choice_field
from reprocessing.quality_states import Cause


class RaiseNonconformity(forms.Form):
    """What was not as it must be."""

    thing = forms.CharField(
        max_length=60,
        label="Load, pack, piece, machine or recall",
        help_text="Scan or type its code.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    cause = forms.ChoiceField(label="Cause", choices=[(cause, str(cause).capitalize()) for cause in Cause])
    description = forms.CharField(max_length=400, label="What was found, and what should have been")

    def clean_thing(self) -> str:
        """As codes are stored."""
        return str(self.cleaned_data["thing"]).strip().upper()


class Corrective(forms.Form):
    """What is done about it, by whom, until when."""

    what = forms.CharField(max_length=300, label="What is to be done")
    role = forms.ChoiceField(label="By whom", choices=[(role, str(role).capitalize()) for role in Role])
    due = forms.DateField(label="Until", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))


class ProteinFound(forms.Form):
    """What a check of residual protein found on one piece."""

    piece = forms.CharField(
        max_length=300,
        label="Piece",
        help_text="Scan one of its marks, or type its code.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    method = forms.CharField(max_length=80, label="Method")
    ug_per_side = forms.FloatField(required=False, min_value=0, label="Protein on a side [µg]")
    passed = choice_field(
        "Result, where the method gives no figure",
        ((YES, "Passed"), (NO, "Failed")),
        required=False,
        coerce=lambda value: value == YES,
        empty_value=None,
    )
    note = forms.CharField(max_length=200, required=False, label="Sides sampled, remarks")
