"""Forms of a load: what goes in, its start, its unloading, its evidence."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

from journal.models import Person
from reprocessing.folder import BYTES_PER_MB, LONGEST_NAME, MOST_MB
from reprocessing.forms.fields import NO, YES, choice_field, verdict_field
from reprocessing.models import Load, Machine
from reprocessing.states import Condition, IndicatorKind, LoadKind, LoadState
from trays.models import Pack
from trays.states import PackKind

LATER = "later"
DOSING = ((YES, "As programmed"), (NO, "It shows a fault"))
FOUND = [(name, Condition[name.upper()].capitalize()) for name in ("intact", "wet", "torn", "dropped")]


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

    def complete(self) -> None:
        """What its programme asks for besides."""
        if self.load.programme.no_cellulose:
            self.fields["no_cellulose"] = forms.BooleanField(required=False, label="No wrap or pouch holds cellulose")
        if self.load.programme.dry_only:
            self.fields["dry"] = forms.BooleanField(required=False, label="Everything is dry, inside each lumen too")
        self.order_fields(["caps_open", "dry", "no_cellulose", "cycle_number"])


class Unload(StepForm):
    """Each wrapped pack as it was found; of a washer its own record of phases and doses."""

    def complete(self) -> None:
        """A question for each pack."""
        if self.load.machine.washes:
            choices = (*DOSING, (LATER, "Not looked at yet"))
            self.fields["dosing"] = choice_field("The washer’s record of phases and doses", choices)
        for pack in self.packs():
            if pack.kind != PackKind.IMMEDIATE:
                self.fields[pack.code] = choice_field(f"{pack.name} {pack.code}", FOUND)

    def clean(self) -> dict[str, Any]:
        """The packs that end, and what the washer's record says."""
        said = self.cleaned_data
        recorded = {YES: True, NO: False}.get(said.get("dosing", LATER))
        faults = {
            name: tuple(code for code, found in said.items() if found == name) for name in ("wet", "torn", "dropped")
        }
        return {**faults, "dosing_recorded": recorded}


class Split(StepForm):
    """What goes into a new load, and on which machine."""

    things = forms.MultipleChoiceField(label="What goes into the new load", widget=forms.CheckboxSelectMultiple)
    machine = forms.ChoiceField(label="Machine")

    def complete(self) -> None:
        """What is in it, sets as one; and the machines of its kind, its own first."""
        members = self.load.load_pieces.filter(open=True).select_related("piece__part", "came_with")
        sets = {row.came_with.code: row.came_with.name for row in members if row.came_with}
        loose = {row.piece.code: row.piece.part.name for row in members if not row.came_with}
        packs = {pack.code: pack.name for pack in self.packs()}
        choices = [(code, f"{name} {code}") for code, name in {**packs, **sets, **loose}.items()]
        self.fields["things"].choices = choices  # type: ignore[attr-defined]
        own, rows = self.load.machine, Machine.objects.filter(kind=self.load.machine.kind)
        machines = [(own.code, own.name), *((row.code, row.name) for row in rows if row != own)]
        self.fields["machine"].choices = machines  # type: ignore[attr-defined]

    def clean_things(self) -> tuple[str, ...]:
        """As the action takes them."""
        return tuple(self.cleaned_data["things"])


class Merge(StepForm):
    """The load that takes everything of this one."""

    into = forms.ChoiceField(label="Into")

    def complete(self) -> None:
        """Other loads of its kind of machine that are being built."""
        rows = Load.objects.filter(state=LoadState.BUILDING, kind=self.load.kind, machine__kind=self.load.machine.kind)
        others = rows.exclude(pk=self.load.pk).select_related("machine", "programme").order_by("pk")
        choices = [(row.code, f"{row.code} on {row.machine}, {row.programme}") for row in others]
        self.fields["into"].choices = [("", "Choose the load"), *choices]  # type: ignore[attr-defined]


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

    kind = choice_field("Kind of indicator", [(kind, str(kind).capitalize()) for kind in IndicatorKind])
    lot = forms.CharField(max_length=40, label="Lot", help_text="As printed on its box.")


class ReadIndicator(StepForm):
    """What an indicator says."""

    indicator_id = forms.IntegerField(widget=forms.HiddenInput)
    passed = verdict_field("What it shows", ((YES, "Passed"), (NO, "Failed")))


class Dosing(StepForm):
    """What the washer's own record says."""

    recorded = verdict_field("The washer’s record of phases and doses", DOSING)


class OpenLoad(forms.Form):
    """The machine and programme of a new load, and why it is run."""

    kind = forms.ChoiceField(label="Load", choices=[(kind, str(kind).capitalize()) for kind in LoadKind])
    open = forms.CharField(max_length=60, label="Machine and programme")

    def clean(self) -> dict[str, Any]:
        """The button's two codes apart."""
        machine, _, programme = self.cleaned_data.get("open", "").partition(" ")
        return {"machine": machine, "programme": programme, "kind": self.cleaned_data.get("kind", "")}
