"""What is written when a maker's pack arrives, and on the draft of a template."""

from __future__ import annotations

from typing import Any

from django import forms

from instruments.loans import Direction
from instruments.models import Loan, Part
from instruments.states import LoanState
from trays.limits import LINES, QUANTITY, REASON


class MakerPackForm(forms.Form):
    """A maker-sterile item taken into stock."""

    part = forms.ModelChoiceField(Part.objects.filter(single_use=True), to_field_name="code")
    lot = forms.CharField(max_length=40, required=False)
    serial = forms.CharField(
        label="Serial number", help_text="A lot, a serial, or both.", max_length=40, required=False
    )
    mark = forms.CharField(max_length=200, required=False, strip=False, widget=forms.HiddenInput)
    expires = forms.DateField(label="Maker's last day of use", widget=forms.DateInput(attrs={"type": "date"}))
    barrier_intact = forms.BooleanField(label="Barrier looked at: whole, dry, sealed", required=False)
    loan = forms.ModelChoiceField(
        Loan.objects.filter(direction=Direction.IN, state=LoanState.AGREED),
        help_text="Only when it is borrowed.",
        to_field_name="code",
        required=False,
    )


MOST_BYTES = 200_000
"""Of a table; the longest text that an action takes."""


class TemplateForm(forms.Form):
    """A new kind of tray."""

    code = forms.CharField(max_length=20, help_text="Short and your own, as AD-BRO.")
    name = forms.CharField(max_length=80)


class StartForm(forms.Form):
    """How a draft begins."""

    empty = forms.BooleanField(required=False)


class ImportForm(forms.Form):
    """The table of one template's list."""

    table = forms.FileField(label="Table")

    def clean_table(self) -> Any:
        """Its text."""
        if self.cleaned_data["table"].size > MOST_BYTES:
            raise forms.ValidationError(f"The file must have at most {MOST_BYTES} bytes.")
        try:
            return self.cleaned_data["table"].read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise forms.ValidationError("The file must be text in UTF-8.") from None


class PartForm(forms.Form):
    """A line, named by its part."""

    part = forms.CharField(max_length=30)


class ChangeLineForm(PartForm):
    """How many of a part, and whether the tray may go out without."""

    quantity = forms.IntegerField(min_value=QUANTITY[0], max_value=QUANTITY[1])
    essential = forms.BooleanField(required=False)


class AddLineForm(ChangeLineForm):
    """A new line, at a place or at the end."""

    position = forms.IntegerField(label="Place", min_value=1, max_value=LINES, required=False)


class MoveLineForm(PartForm):
    """Another place of the packing order."""

    to = forms.IntegerField(label="Place", min_value=1, max_value=LINES)


class DropSubstituteForm(PartForm):
    """A substitute of a line."""

    substitute = forms.CharField(max_length=30)


class SubstituteForm(DropSubstituteForm):
    """A substitute with its rank and reason."""

    reason = forms.CharField(max_length=REASON)
    rank = forms.IntegerField(min_value=1, max_value=LINES, required=False)


class DropRuleForm(forms.Form):
    """The rule of a series."""

    series = forms.CharField(max_length=20)


class RuleForm(DropRuleForm):
    """What a series wants beside its barrels, for those present or for a range of sizes."""

    first = forms.CharField(max_length=20, required=False)
    last = forms.CharField(max_length=20, required=False)
    sheath = forms.BooleanField(required=False)
    seal = forms.BooleanField(required=False)
