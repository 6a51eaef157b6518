"""Forms of loads and machines: what a step must be told. Whether it may happen is for the actions to say.

The cleaned values of a form are the arguments of its action, by name.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone

from journal.findings import Finding, Refused, stop
from journal.models import Person
from journal.roles import Right
from reprocessing.folder import BYTES_PER_MB, LONGEST_NAME, MOST_MB
from reprocessing.models import Load, LoadLine, Machine
from reprocessing.reads import alone_needed
from reprocessing.reads.devices import differences_of
from reprocessing.rules import MOMENT
from reprocessing.states import DAY_TESTS, IndicatorKind, LoadKind, LoadState, MachineKind
from trays.models import Pack
from trays.states import PackKind

YES, NO, LATER = "yes", "no", "later"
DOSING = ((YES, "As programmed"), (NO, "It shows a fault"))
INTACT, DAMAGED = "intact", "damaged"
FOUND = ((INTACT, "Dry and intact"), (DAMAGED, "Wet or torn"))


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


def _reason(label: str = "Reason", *, required: bool = True) -> forms.CharField:
    """A sentence that the trail keeps."""
    return forms.CharField(label=label, max_length=400, required=required)


def password_field() -> forms.CharField:
    """The signature under a decision."""
    return forms.CharField(
        label="Your password",
        help_text="It signs with your name.",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


def _choice(label: str, choices: Any, **more: Any) -> forms.TypedChoiceField:
    """One of a few answers, none of them chosen beforehand."""
    return forms.TypedChoiceField(label=label, choices=choices, widget=forms.RadioSelect, **more)


def _verdict(label: str, choices: Any) -> forms.TypedChoiceField:
    """One of two answers, as true or false."""
    return _choice(label, choices, coerce=lambda value: value == YES)


class StepForm(forms.Form):
    """A step on a load: it knows the load and who acts."""

    def __init__(self, *args: Any, load: Load, by: Person, **more: Any) -> None:
        super().__init__(*args, **more)
        self.load, self.by = load, by
        self.complete()

    def complete(self) -> None:
        """Add what depends on the load or the person."""

    def packs(self) -> list[Pack]:
        """What is in the load still."""
        rows = self.load.load_packs.filter(open=True).select_related("pack").order_by("pack__code")
        return [row.pack for row in rows]


class Add(StepForm):
    """What goes in."""

    mark = forms.CharField(max_length=300)


class TakeOff(StepForm):
    """The pack that is taken off."""

    pack = forms.CharField(max_length=20)


class TakeOut(StepForm):
    """The piece that is taken out."""

    piece = forms.CharField(max_length=20)


class Start(StepForm):
    """What a start confirms."""

    caps_open = forms.BooleanField(required=False, label="Caps are off, ports and taps are open")
    cycle_number = forms.CharField(max_length=20, required=False, label="Cycle number on the machine")


class Unload(StepForm):
    """Each wrapped pack as it was found; of a washer its own record of phases and doses."""

    def complete(self) -> None:
        """A question for each pack."""
        if self.load.machine.washes:
            choices = (*DOSING, (LATER, "Not looked at yet"))
            self.fields["dosing"] = _choice("The washer’s record of phases and doses", choices)
        for pack in self.packs():
            if pack.kind != PackKind.IMMEDIATE:
                self.fields[pack.code] = _choice(f"{pack.name} {pack.code}", FOUND)

    def clean(self) -> dict[str, Any]:
        """The damaged packs, and what the washer's record says."""
        said = self.cleaned_data
        recorded = {YES: True, NO: False}.get(said.get("dosing", LATER))
        return {
            "damaged": tuple(code for code, found in said.items() if found == DAMAGED),
            "dosing_recorded": recorded,
        }


class Upload(forms.Form):
    """A file that a machine wrote."""

    content = forms.FileField(
        label="The machine’s record",
        error_messages={"empty": "Cannot attach the file: it is empty. Export the cycle again."},
        help_text=f"Its log as CSV, or its own message (HL7 v2). UTF-8 text, at most {MOST_MB} MB, kept as it is.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.hl7,text/csv,text/plain"}),
    )

    def clean_content(self) -> UploadedFile:
        """A file that is not too long, nor its name.

        Raises:
            ValidationError: one of them is.
        """
        file: UploadedFile = self.cleaned_data["content"]
        size_mb, length = (file.size or 0) / BYTES_PER_MB, len(file.name or "")
        if size_mb > MOST_MB:
            must = f"it has {size_mb:.1f} MB, must have at most {MOST_MB} MB. Export this one cycle."
            raise ValidationError(f"Cannot attach {file.name}: {must}")
        if length > LONGEST_NAME:
            must = f"its name has {length} characters, must have at most {LONGEST_NAME}. Give it a shorter one."
            raise ValidationError(f"Cannot attach the file: {must}")
        return file

    def clean(self) -> dict[str, Any]:
        """Name and text of the file.

        Raises:
            ValidationError: it is no text.
        """
        file: UploadedFile | None = self.cleaned_data.get("content")
        if file is None:
            return {}
        try:
            text = file.read().decode()
        except UnicodeDecodeError:
            text = "\0"
        if "\0" in text:
            sentence = f"Cannot attach {file.name}: it is no text, must be UTF-8 text. Export the cycle as CSV."
            raise ValidationError({"content": sentence})
        return {"file_name": file.name, "content": text}


class Record(StepForm, Upload):
    """The file that a machine wrote of its cycle."""


class PlaceIndicator(StepForm):
    """An indicator that goes with the load."""

    kind = _choice("Kind of indicator", [(kind, str(kind).capitalize()) for kind in IndicatorKind])
    lot = forms.CharField(max_length=40, label="Lot", help_text="As printed on its box.")


class ReadIndicator(StepForm):
    """What an indicator says."""

    indicator_id = forms.IntegerField(widget=forms.HiddenInput)
    passed = _verdict("What it shows", ((YES, "Passed"), (NO, "Failed")))


class Dosing(StepForm):
    """What the washer's own record says."""

    recorded = _verdict("The washer’s record of phases and doses", DOSING)


class ExceptionalRelease(StepForm):
    """Why an implant load cannot wait for its biological result."""

    implants = forms.CharField(max_length=300, label="Implants in the load")
    case_reference = forms.CharField(
        max_length=40, label="Case", help_text="Its code; no name and no number of a patient."
    )
    authorised_by = forms.CharField(max_length=80, label="Asked for by", help_text="The operator, by role.")
    reason = _reason("Why it cannot wait")
    avoidable_by = _reason("What would have avoided it")
    password = password_field()


class Release(StepForm):
    """The signature under a release; nothing of it is filled in beforehand."""

    reason = _reason("Remark", required=False)
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

    reason = _reason()
    soiled = forms.MultipleChoiceField(
        required=False,
        label="Packs that got wet, dropped or touched",
        help_text="Their pieces go before the washer; those of the others are inspected anew.",
        widget=forms.CheckboxSelectMultiple,
    )
    password = password_field()

    def complete(self) -> None:
        """The packs that are in the load still; a washer has none."""
        choices = [(pack.code, f"{pack.name} {pack.code}") for pack in self.packs()]
        self.fields["soiled"].choices = choices  # type: ignore[attr-defined]
        if not choices:
            del self.fields["soiled"]

    def clean_soiled(self) -> tuple[str, ...]:
        """As the action takes them."""
        return tuple(self.cleaned_data["soiled"])


class Recall(StepForm):
    """Why a released load is called back."""

    reason = _reason()


class DecideDoubt(StepForm):
    """The quality decision on a load in doubt."""

    test_id = forms.IntegerField(widget=forms.HiddenInput)
    decision = forms.CharField(max_length=300, label="Decision and its ground")
    recall = _verdict("What follows", ((YES, "Recall the load"), (NO, "No recall")))

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
    reason = _reason("What is wrong, and what is right")

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


class OpenLoad(forms.Form):
    """The machine and programme of a new load, and why it is run."""

    kind = forms.ChoiceField(label="Load", choices=[(kind, str(kind).capitalize()) for kind in LoadKind])
    open = forms.CharField(max_length=60, label="Machine and programme")

    def clean(self) -> dict[str, Any]:
        """The button's two codes apart."""
        machine, _, programme = self.cleaned_data.get("open", "").partition(" ")
        return {"machine": machine, "programme": programme, "kind": self.cleaned_data.get("kind", "")}


class MachineForm(forms.Form):
    """A step on a machine."""

    def __init__(self, *args: Any, machine: Machine, **more: Any) -> None:
        super().__init__(*args, **more)
        self.machine = machine


class MachineReason(MachineForm):
    """Why a machine leaves or comes back."""

    reason = _reason()


class Test(MachineForm):
    """A periodic test and its result."""

    kind = _choice("Test", ())
    passed = _verdict("Result", ((YES, "Passed"), (NO, "Failed")))
    note = forms.CharField(max_length=200, required=False, label="Note")

    def __init__(self, *args: Any, machine: Machine, **more: Any) -> None:
        super().__init__(*args, machine=machine, **more)
        kinds = DAY_TESTS[MachineKind(machine.kind)]
        self.fields["kind"].choices = [(kind, str(kind).capitalize()) for kind in kinds]  # type: ignore[attr-defined]


class DraftRecall(forms.Form):
    """Loads that are to be called back by hand, and what for."""

    loads = forms.CharField(
        max_length=400, label="Loads", help_text="Scan or type their codes, with spaces between them."
    )
    ground = _reason("What it is for")

    def clean_loads(self) -> tuple[str, ...]:
        """As the action takes them."""
        return tuple(self.cleaned_data["loads"].upper().replace(",", " ").split())


class Why(forms.Form):
    """Why a recall takes a step."""

    reason = _reason()


class Signed(forms.Form):
    """A step of a recall that is signed, and why."""

    reason = _reason()
    password = password_field()


class Closing(forms.Form):
    """The second person's signature."""

    reason = _reason("Remark", required=False)
    password = password_field()


class Settle(forms.Form):
    """What became of a thing that is called back."""

    thing = forms.CharField(max_length=200, label="Mark")
    outcome = forms.CharField(max_length=20, label="Outcome")
    note = forms.CharField(max_length=300, label="Note", required=False)
