"""Forms of records that came by themselves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.utils import timezone

from reprocessing.columns import QUANTITIES
from reprocessing.forms.fields import password_field
from reprocessing.forms.loads import Upload
from reprocessing.models import Load
from reprocessing.rules import MOMENT


class MatchRecord(forms.Form):
    """The load that a record belongs to."""

    load = forms.ChoiceField(label="Its load")

    def __init__(self, *args: Any, loads: Iterable[Load], **more: Any) -> None:
        super().__init__(*args, **more)
        choices = [("", "Choose the load"), *((load.code, _ran(load)) for load in loads)]
        self.fields["load"].choices = choices  # type: ignore[attr-defined]


def _ran(load: Load) -> str:
    started = f"{timezone.localtime(load.started_at):{MOMENT}}" if load.started_at else "not recorded"
    cycle = f", cycle {load.cycle_number}" if load.cycle_number else ""
    return f"{load.code}, {load.machine}, started {started}{cycle}"


class SetRecordAside(forms.Form):
    """Why a record belongs to no load."""

    reason = forms.CharField(label="Why it belongs to no load", max_length=400)


class DeviceNumber(forms.Form):
    """By which number a machine names itself in its messages."""

    number = forms.CharField(
        required=False,
        max_length=80,
        label="Device number in its messages",
        help_text="HL7 v2, SDD-2. Its code is understood without it.",
    )


class LeakRecord(Upload):
    """The record of an air leakage test."""


class HoldFrom(forms.Form):
    """When the valves of a leakage test closed."""

    hold_from_s = forms.FloatField(
        required=False,
        min_value=0,
        label="Second at which the chamber was shut off",
        help_text="In the seconds of the record. Empty: the last reading of the lowest pressure.",
    )


class LeakTest(HoldFrom):
    """The signature under a leakage test."""

    note = forms.CharField(required=False, max_length=200, label="Note")
    password = password_field()


class ColumnsForm(forms.Form):
    """What each column of a machine's log holds; nothing of it is guessed from a name."""

    header_line = forms.IntegerField(min_value=1, max_value=999, widget=forms.HiddenInput)
    ambient_mbar = forms.FloatField(
        required=False, label="Air pressure of the machine’s room in mbar", help_text="For pressure above the room’s."
    )

    def __init__(self, *args: Any, names: Iterable[str], held: Mapping[str, str], **more: Any) -> None:
        super().__init__(*args, **more)
        self.names = [name for name in names if name]
        choices = [("", "Choose what it holds"), *QUANTITIES.items()]
        for at, name in enumerate(self.names):
            self.fields[f"column_{at}"] = forms.ChoiceField(label=name, choices=choices, initial=held.get(name, ""))
        self.order_fields([f"column_{at}" for at in range(len(self.names))])

    def clean(self) -> dict[str, Any]:
        """As the action takes them."""
        said = self.cleaned_data
        columns = tuple(f"{name}={said.get(f'column_{at}', '')}" for at, name in enumerate(self.names))
        return {
            "columns": columns,
            "header_line": said.get("header_line"),
            "ambient_mbar": said.get("ambient_mbar"),
        }
