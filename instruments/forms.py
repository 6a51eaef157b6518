"""What the fit page is asked."""

from __future__ import annotations

from typing import Any

from django import forms

from instruments.fit import MOST_SHAFTS
from instruments.models import Part
from instruments.reads import BORE_KINDS, SHAFT_KINDS


class FitForm(forms.Form):
    """A bore, up to six shafts, and the running gap."""

    bore = forms.ModelChoiceField(Part.objects.none(), to_field_name="code", label="Barrel, sheath or loader")
    shafts = forms.ModelMultipleChoiceField(
        Part.objects.none(),
        to_field_name="code",
        label="What goes through at once",
        help_text=f"One to {MOST_SHAFTS}.",
        widget=forms.CheckboxSelectMultiple,
    )
    gap_mm = forms.FloatField(
        label="Running gap between any two surfaces, in mm", min_value=0, max_value=3, widget=forms.NumberInput
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        parts = Part.objects.with_dimensions()
        self.shaft_parts = parts.filter(kind__in=SHAFT_KINDS)
        bore, shafts = self.fields["bore"], self.fields["shafts"]
        bore.queryset = parts.filter(kind__in=BORE_KINDS)  # type: ignore[attr-defined]
        shafts.queryset = self.shaft_parts  # type: ignore[attr-defined]

    def clean_shafts(self) -> list[Part]:
        """At most six."""
        shafts = list(self.cleaned_data["shafts"])
        if len(shafts) > MOST_SHAFTS:
            raise forms.ValidationError(
                f"Cannot judge {len(shafts)} at once: it must be at most {MOST_SHAFTS}. Take some away."
            )
        return shafts


class GapForm(forms.Form):
    """The running gap by which a table of fits is judged."""

    gap_mm = forms.FloatField(label="Running gap, in mm", min_value=0, max_value=3, widget=forms.NumberInput)


class MarkForm(forms.Form):
    """A further mark on a piece."""

    text = forms.CharField(label="Mark", help_text="Scan it, or type it as printed.", max_length=200, strip=False)
    replaces = forms.BooleanField(label="It replaces the others, which stay findable", required=False)


class PieceForm(forms.Form):
    """A new piece of a part."""

    serial = forms.CharField(max_length=40, required=False)
    lot = forms.CharField(max_length=40, required=False)
    expires = forms.DateField(
        label="Maker's last day of use", widget=forms.DateInput(attrs={"type": "date"}), required=False
    )
    mark = forms.CharField(
        label="Mark on it", help_text="Scan it; none is needed.", max_length=200, required=False, strip=False
    )
