"""Forms of what low-temperature programmes allow."""

from __future__ import annotations

from django import forms

from instruments.models import LumenMaterial
from reprocessing.forms.fields import reason_field
from reprocessing.low_temperature import ANY

SOURCE = "Where that is asked for"


class LimitLoads(forms.Form):
    """What a programme asks of its loads."""

    most_load_g = forms.IntegerField(required=False, min_value=1, label="Mass of a load, at most [g]")
    dry_only = forms.BooleanField(required=False, label="Everything is dry: confirmed at each start")
    no_cellulose = forms.BooleanField(required=False, label="No wrap with cellulose: confirmed at each start")
    source = reason_field(SOURCE)


class LimitLumens(forms.Form):
    """Lumens that a programme reaches."""

    material = forms.ChoiceField(
        label="Wall", choices=[(word, str(word).capitalize()) for word in (*LumenMaterial, ANY)]
    )
    least_inner_mm = forms.FloatField(min_value=0, label="Inner diameter, at least [mm]")
    most_length_mm = forms.FloatField(min_value=0, label="Length, at most [mm]")
    most_count = forms.IntegerField(required=False, min_value=1, label="Lumens in a load, at most")
    source = forms.CharField(max_length=200, label=SOURCE)
