"""What the pages of the catalogue, of pieces, of loans and of the scanner card are asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from instruments.fit import MOST_SHAFTS
from instruments.loans import Direction, PrionHistory
from instruments.models import Part, PartKind
from instruments.mounting import Mounting, Port
from instruments.reads import BORE_KINDS, PASSED, SHAFT_KINDS, adapters_at_hand, base_of, mounting_of
from instruments.rulings import Limits
from instruments.scanner_check import LONGEST_TEXT

NO_SUCH_PART = "Cannot find part “%(value)s” here: it must be one of the list. Choose it anew."


class PartField(forms.ModelChoiceField):  # type: ignore[type-arg]  # not subscriptable at run time
    """A part by its code; may be left open."""

    default_error_messages = {"invalid_choice": NO_SUCH_PART}

    def __init__(self, label: str, *kinds: str, **more: Any) -> None:
        parts = Part.objects.with_dimensions().filter(kind__in=kinds).order_by("kind", "size", "code")
        super().__init__(parts, to_field_name="code", label=label, required=False, empty_label="None", **more)


def _length(label: str, name: str, most_mm: int) -> forms.FloatField:
    """A length from 0 [mm]."""
    said = f"Cannot judge with {name}: it is {{}}, must be a number of millimetres from 0 to {most_mm}. Enter it anew."
    wrong = {
        "required": said.format("missing"),
        "invalid": said.format("no number"),
        **dict.fromkeys(("min_value", "max_value"), said.format("%(value)s mm")),
    }
    return forms.FloatField(
        label=label, min_value=0, max_value=most_mm, widget=forms.NumberInput, error_messages=wrong
    )


_DAY = {"type": "date"}
_ANSWERS = [(str(answer), str(answer).capitalize()) for answer in PrionHistory]
_INSTRUCTIONS_HELP = "Where they are filed. Without them nothing borrowed is packed."


class FitForm(forms.Form):
    """A barrel with what is on it and in it; seals and ports are asked once base and shafts are known."""

    bore = PartField("Barrel (or a sheath or loader alone)", *BORE_KINDS)
    base = PartField("Base", PartKind.BASE)
    shafts = forms.ModelMultipleChoiceField(
        Part.objects.none(),
        to_field_name="code",
        label="What goes through at once",
        help_text=f"At most {MOST_SHAFTS}, sheath and pusher counted.",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": NO_SUCH_PART},
    )
    sheath = PartField("Sheath, through or over the barrel", PartKind.SHEATH)
    loader = PartField("Loader", PartKind.LOADER)
    implant = PartField("Stent or other implant", PartKind.IMPLANT)
    pusher = PartField("Pusher", PartKind.PUSHER)
    gap_mm = _length("Running gap between any two surfaces, in mm", "this running gap", 3)
    wanted_mm = _length("Wanted reach past the tip, in mm", "this wanted reach", 200)

    def __init__(self, data: QueryDict, limits: Limits) -> None:
        asked = data.copy()
        asked.setdefault("gap_mm", f"{limits.gap_mm:g}")
        asked.setdefault("wanted_mm", f"{limits.wanted_mm:g}")
        super().__init__(asked)
        parts = Part.objects.with_dimensions()
        self.shaft_parts = parts.filter(kind__in=SHAFT_KINDS)
        self.fields["shafts"].queryset = self.shaft_parts  # type: ignore[attr-defined]
        self.chosen = asked.getlist("shafts")
        bases = parts.filter(kind=PartKind.BASE, code=asked.get("base", ""), base__isnull=False)
        self.mounted = bases.prefetch_related("base__ports").first()
        if self.mounted:
            self._ask_ports(base_of(self.mounted).ports)

    def _ask_ports(self, ports: Sequence[Port]) -> None:
        """A seal for each port, and a port for each shaft."""
        names = [(port.name, port.name) for port in ports]
        for port in ports:
            self.fields[f"seal-{port.name}"] = PartField(f"Seal on the {port.name} port", PartKind.SEAL)
        for part in self.shaft_parts.filter(code__in=self.chosen, kind__in=PASSED).order_by("kind", "code"):
            self.fields[f"port-{part.code}"] = forms.ChoiceField(
                label=f"{part.name} goes through",
                choices=names,
                required=False,
                error_messages={"invalid_choice": "Cannot use port “%(value)s”: this base has none of that name."},
            )

    def at_the_ports(self) -> list[forms.BoundField]:
        """Fields that depend on the base."""
        return [self[name] for name in self.fields if name.startswith(("seal-", "port-"))]

    def clean(self) -> dict[str, Any]:
        """A sheath, pusher or implant that was ticked as a shaft takes its own place; then all is put together."""
        asked = self.cleaned_data
        shafts = list(asked.get("shafts") or ())
        for kind in (PartKind.SHEATH, PartKind.PUSHER, PartKind.IMPLANT):
            ticked = next((part for part in shafts if part.kind == kind), None)
            if ticked and asked.get(str(kind)) in (None, ticked):
                asked[str(kind)] = ticked
                shafts.remove(ticked)
        if not self.errors and asked["bore"]:
            seals = {port[5:]: part for port, part in asked.items() if port.startswith("seal-") and part}
            try:
                asked["mounting"] = mounting_of(
                    asked["bore"],
                    base=self.mounted,
                    seals=seals,
                    shafts=[(part, asked.get(f"port-{part.code}") or "") for part in shafts],
                    adapters=adapters_at_hand() if self.mounted else (),
                    **{name: asked[name] for name in ("sheath", "loader", "pusher", "implant")},
                )
            except ValueError as why:
                self.add_error("shafts", str(why))
        return asked

    @property
    def mounting(self) -> Mounting | None:
        """What is put together; None = no barrel is chosen, or something cannot be read."""
        return self.cleaned_data.get("mounting") if self.is_valid() else None

    @property
    def limits(self) -> Limits:
        """What was asked for."""
        return Limits(self.cleaned_data["gap_mm"], self.cleaned_data["wanted_mm"])


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
    expires = forms.DateField(label="Maker's last day of use", widget=forms.DateInput(attrs=_DAY), required=False)
    mark = forms.CharField(
        label="Mark on it", help_text="Scan it; none is needed.", max_length=200, required=False, strip=False
    )


class ScannerForm(forms.Form):
    """What came of scanning the scanner card; without JavaScript only the text is known."""

    text = forms.CharField(label="The reading", max_length=LONGEST_TEXT, strip=False)
    ended = forms.CharField(required=False, empty_value="", max_length=20)
    mean_ms = forms.FloatField(required=False, min_value=0)
    longest_ms = forms.FloatField(required=False, min_value=0)
    caps_lock = forms.BooleanField(required=False)


class RepairForm(forms.Form):
    """A piece that leaves for repair."""

    reason = forms.CharField(label="What is wrong", max_length=300)
    to = forms.CharField(label="To whom", max_length=120, required=False)
    order = forms.CharField(label="Order", help_text="Number or text of the order.", max_length=120, required=False)
    expected = forms.DateField(label="Expected back", widget=forms.DateInput(attrs=_DAY), required=False)


class BackFromRepairForm(forms.Form):
    """A piece that is back from repair."""

    serviced = forms.BooleanField(label="It was serviced too: set its next date anew", initial=True, required=False)


class LoanForm(forms.Form):
    """A loan before its pieces move."""

    direction = forms.ChoiceField(
        label="Which way",
        choices=[(str(Direction.IN), "In: we borrow"), (str(Direction.OUT), "Out: we lend")],
        widget=forms.RadioSelect,
    )
    party = forms.CharField(label="Lender or borrower", max_length=120)
    reference = forms.CharField(label="Their reference", max_length=60, required=False)
    due = forms.DateField(label="Last day of the loan", widget=forms.DateInput(attrs=_DAY))
    agreed = forms.IntegerField(label="Pieces agreed", min_value=1, max_value=9999)
    instructions = forms.CharField(
        label="Maker’s reprocessing instructions", help_text=_INSTRUCTIONS_HELP, max_length=200, required=False
    )
    prion_history = forms.ChoiceField(
        label="Prion risk: what the lender answered", choices=_ANSWERS, initial=PrionHistory.NOT_ASKED, required=False
    )

    def clean_prion_history(self) -> str:
        """Not asked unless an answer is given."""
        return self.cleaned_data["prion_history"] or PrionHistory.NOT_ASKED


class PapersForm(forms.Form):
    """What is filed with a loan; an empty field leaves what is on file."""

    instructions = forms.CharField(
        label="Maker’s reprocessing instructions", help_text=_INSTRUCTIONS_HELP, max_length=200, required=False
    )
    prion_history = forms.ChoiceField(
        label="Prion risk: what the lender answered", choices=[("", "As it is on file"), *_ANSWERS], required=False
    )
    certificate = forms.CharField(
        label="Decontamination certificate",
        help_text="Its reference. Without it nothing leaves.",
        max_length=60,
        required=False,
    )


class ExtendForm(forms.Form):
    """Another last day of a loan."""

    due = forms.DateField(label="New last day", widget=forms.DateInput(attrs=_DAY))
    reason = forms.CharField(label="Agreed with whom, and why", max_length=300)


class LoanPieceForm(forms.Form):
    """A borrowed piece that arrives for the first time."""

    part = forms.ModelChoiceField(Part.objects.none(), to_field_name="code")
    mark = forms.CharField(label="Mark on it", help_text="Scan it; none is needed.", max_length=200, required=False)
    serial = forms.CharField(max_length=40, required=False)
    lot = forms.CharField(max_length=40, required=False)
    condition = forms.CharField(label="Condition on arrival", max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"].queryset = Part.objects.order_by("kind", "code")  # type: ignore[attr-defined]


class LoanScanForm(forms.Form):
    """A mark that is scanned on a loan's page."""

    mark = forms.CharField(max_length=200, strip=False)
    condition = forms.CharField(label="Condition", max_length=200, required=False)
