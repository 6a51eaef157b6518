"""What forms share: reading one, and the fields that many ask for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from journal.findings import Finding, Refused, stop

YES, NO = "yes", "no"


def filled(form: forms.Form) -> dict[str, Any]:
    """What a form says; the password is for the signature and stays out.

    Raises:
        Refused: something is missing, or cannot be what was asked for.
    """
    if not form.is_valid():
        raise Refused(*_shortcomings(form))
    return {name: value for name, value in form.cleaned_data.items() if name != "password"}


def _shortcomings(form: forms.Form) -> Iterator[Finding]:
    for name, problems in form.errors.as_data().items():
        label = str(form.fields[name].label)
        for problem in problems:
            yield stop("form-incomplete", label, _words(label, problem), "Nothing was changed.")


def _words(label: str, problem: ValidationError) -> str:
    found = {
        "required": "it is not recorded, must be stated.",
        "max_length": "it has {show_value} characters, must have at most {limit_value}.",
        "invalid_choice": "it is none of the answers, must be one of them.",
    }
    if problem.code in found:
        return f"Cannot take “{label}”: {found[problem.code].format(**(problem.params or {}))}"
    return " ".join(problem.messages)


def reason_field(label: str = "Reason", *, required: bool = True) -> forms.CharField:
    """A sentence that the trail keeps."""
    return forms.CharField(label=label, max_length=400, required=required)


def password_field() -> forms.CharField:
    """The signature under a decision."""
    return forms.CharField(
        label="Your password",
        help_text="It signs with your name.",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


def choice_field(label: str, choices: Any, **more: Any) -> forms.TypedChoiceField:
    """One of a few answers, none of them chosen beforehand."""
    return forms.TypedChoiceField(label=label, choices=choices, widget=forms.RadioSelect, **more)


def verdict_field(label: str, choices: Any) -> forms.TypedChoiceField:
    """One of two answers, as true or false."""
    return choice_field(label, choices, coerce=lambda value: value == YES)
