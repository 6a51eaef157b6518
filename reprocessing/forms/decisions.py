"""Forms of the decision on a load, and of what is said of it afterwards."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from instruments.reads.pieces import code_by_mark
from journal.findings import Refused
from journal.roles import Right
from reprocessing.forms.fields import NO, YES, password_field, reason_field, verdict_field
from reprocessing.forms.loads import StepForm
from reprocessing.models import LoadLine
from reprocessing.reads import alone_needed
from reprocessing.reads.devices import differences_of
from reprocessing.rules import MOMENT
from reprocessing.states import LoadState


class ExceptionalRelease(StepForm):
    """Why an implant load cannot wait for its biological result."""

    implants = forms.CharField(max_length=300, label="Implants in the load")
    case_reference = forms.CharField(
        max_length=40, label="Case", help_text="Its code; no name and no number of a patient."
    )
    authorised_by = forms.CharField(max_length=80, label="Asked for by", help_text="The operator, by role.")
    reason = reason_field("Why it cannot wait")
    avoidable_by = reason_field("What would have avoided it")
    password = password_field()


class Release(StepForm):
    """The signature under a release; nothing of it is filled in beforehand."""

    reason = reason_field("Remark", required=False)
    password = password_field()

    def complete(self) -> None:
        """Ask for the single-staffing exception where it is needed."""
        if alone_needed(self.load, self.by):
            self.fields["alone"] = forms.CharField(
                max_length=300,
                label="Why nobody else can release it",
                help_text="You built this load alone. The exception is reviewed the next day.",
            )
            self.order_fields(["alone", "reason", "password"])
        if differences_of(self.load):
            self.fields["reason"].required = True
            self.fields["reason"].label = "Why it may go out although message and record differ"


class Reject(StepForm):
    """The signature under a rejection."""

    reason = reason_field()
    soiled = forms.MultipleChoiceField(
        required=False,
        label="Packs that got wet, dropped or touched",
        help_text="Their pieces go before the washer; those of the others are inspected anew.",
        widget=forms.CheckboxSelectMultiple,
    )
    pieces = forms.CharField(
        required=False,
        max_length=4000,
        label="Single pieces that got wet, dropped or touched",
        help_text="Scan or type their marks, one on each line. They go before the washer, their pack does not.",
        widget=forms.Textarea(attrs={"rows": 3, "autocapitalize": "off", "spellcheck": "false"}),
    )
    password = password_field()

    def complete(self) -> None:
        """The packs that are in the load still; a washer has none."""
        choices = [(pack.code, f"{pack.name} {pack.code}") for pack in self.packs()]
        self.fields["soiled"].choices = choices  # type: ignore[attr-defined]
        if not choices:
            del self.fields["soiled"], self.fields["pieces"]

    def clean(self) -> dict[str, Any]:
        """Packs and single pieces together, as the action takes them."""
        said = dict(self.cleaned_data)
        marks = [mark for mark in said.pop("pieces", "").splitlines() if mark.strip()]
        return {**said, "soiled": (*said.get("soiled", ()), *map(_piece, marks))}


def _piece(mark: str) -> str:
    """The code of the piece that a line names.

    Raises:
        ValidationError: it names none.
    """
    try:
        return code_by_mark(mark)[0]
    except Refused as refusal:
        raise ValidationError({"pieces": refusal.findings[0].sentence}) from refusal


class Recall(StepForm):
    """Why a released load is called back."""

    reason = reason_field()


class DecideDoubt(StepForm):
    """The quality decision on a load in doubt."""

    test_id = forms.IntegerField(widget=forms.HiddenInput)
    decision = forms.CharField(max_length=300, label="Decision and its ground")
    recall = verdict_field("What follows", ((YES, "Recall the load"), (NO, "No recall")))

    def complete(self) -> None:
        """Only what was released can be recalled."""
        if self.load.state != LoadState.RELEASED:
            del self.fields["recall"]

    def clean(self) -> dict[str, Any]:
        """Without a question there is no recall."""
        return {"recall": False, **self.cleaned_data}


class Correct(StepForm):
    """A mistake in the trail and what is right."""

    line = forms.TypedChoiceField(label="Line", coerce=int)
    reason = reason_field("What is wrong, and what is right")

    def complete(self) -> None:
        """A person's own lines; every line for who decides."""
        lines = LoadLine.objects.filter(load=self.load).order_by("-id")
        if Right.DECIDE not in self.by.rights:
            lines = lines.filter(person=self.by)
        choices = [("", "Choose the line"), *((line.pk, _told(line)) for line in lines)]
        self.fields["line"].choices = choices  # type: ignore[attr-defined]


def _told(line: LoadLine) -> str:
    """A line in a few words: when, what, and the first thing that it names."""
    named = next((value for value in line.evidence.values() if isinstance(value, str)), "")
    return f"{timezone.localtime(line.occurred_at):{MOMENT}} {line.verb.replace('_', ' ')} {named}".strip()
