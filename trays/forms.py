"""What is written when a maker's pack arrives."""

from __future__ import annotations

from django import forms

from instruments.models import Part


class MakerPackForm(forms.Form):
    """A maker-sterile item taken into stock."""

    part = forms.ModelChoiceField(Part.objects.filter(single_use=True), to_field_name="code")
    lot = forms.CharField(max_length=40, required=False)
    serial = forms.CharField(
        label="Serial number", help_text="A lot, a serial, or both.", max_length=40, required=False
    )
    expires = forms.DateField(label="Maker's last day of use", widget=forms.DateInput(attrs={"type": "date"}))
    barrier_intact = forms.BooleanField(label="Barrier looked at: whole, dry, sealed", required=False)
