"""Forms of recalls and of what is signed by two."""

from __future__ import annotations

from django import forms

from reprocessing.forms.fields import password_field, reason_field


class DraftRecall(forms.Form):
    """Loads that are to be called back by hand, and what for."""

    loads = forms.CharField(
        max_length=400, label="Loads", help_text="Scan or type their codes, with spaces between them."
    )
    ground = reason_field("What it is for")

    def clean_loads(self) -> tuple[str, ...]:
        """As the action takes them."""
        return tuple(self.cleaned_data["loads"].upper().replace(",", " ").split())


class Why(forms.Form):
    """Why a recall takes a step."""

    reason = reason_field()


class Signed(forms.Form):
    """A step of a recall that is signed, and why."""

    reason = reason_field()
    password = password_field()


class Closing(forms.Form):
    """The second person's signature."""

    reason = reason_field("Remark", required=False)
    password = password_field()


class Settle(forms.Form):
    """What became of a thing that is called back."""

    thing = forms.CharField(max_length=200, label="Mark")
    outcome = forms.CharField(max_length=20, label="Outcome")
    note = forms.CharField(max_length=300, label="Note", required=False)
