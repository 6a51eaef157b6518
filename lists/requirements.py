"""What a case needs: the procedure's standard, the operator's extras and the planned sizes, each thing by itself.

Nothing is guessed: a planned size or implant that the catalogue does not know is a finding, and the rest is expanded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from journal.findings import Finding, Severity, look
from trays.companions import SizeOf
from trays.windows import window

MOST = 99
STANDARD = "procedure"
EXPECTED = (
    "template:CODE, part:CODE or backup:PART, with :quantity where it is not one; sizes:SERIES:below:above; "
    "or implant:below:above"
)
_BY_DIMENSIONS = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[x×*]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", re.IGNORECASE)


class NeedKind(StrEnum):
    """What a stated need asks for."""

    TEMPLATE = "template"
    PART = "part"
    BACKUP = "backup"
    SIZES = "sizes"
    IMPLANT = "implant"


COUNTED = (NeedKind.TEMPLATE, NeedKind.PART, NeedKind.BACKUP)


@dataclass(frozen=True, slots=True)
class Stated:
    """One need as a procedure or an operator states it.

    Args:
        kind: a set, a single pack, a backup in a single pack, sizes round the planned one, or the planned implant.
        code: of the template, the part or the series; empty for an implant, which the case names.
        quantity: how many; of sizes and implants one.
        below: how many sizes below the planned one.
        above: how many sizes above it.
        source: whose need it is, in words.

    Raises:
        ValueError: a code too many or missing, or a number out of range.
    """

    kind: NeedKind
    code: str = ""
    quantity: int = 1
    below: int = 0
    above: int = 0
    source: str = STANDARD

    def __post_init__(self) -> None:
        if bool(self.code) == (self.kind is NeedKind.IMPLANT):
            raise ValueError(f"A need of kind {self.kind} has code “{self.code}”, must have one unless an implant.")
        if not (1 <= self.quantity <= MOST and 0 <= self.below <= MOST and 0 <= self.above <= MOST):
            raise ValueError(f"A need of {self.quantity}, {self.below} below and {self.above} above is out of range.")

    @property
    def text(self) -> str:
        """As it is written in an import."""
        if self.kind in COUNTED:
            return f"{self.kind}:{self.code}" + (f":{self.quantity}" if self.quantity > 1 else "")
        series = f":{self.code}" if self.code else ""
        return f"{self.kind}{series}:{self.below}:{self.above}"


@dataclass(frozen=True, slots=True)
class ImplantOf:
    """An implant of the catalogue.

    Args:
        part: code of its part.
        diameter_mm: free diameter [mm], above 0.
        length_mm: length [mm], above 0.

    Raises:
        ValueError: a dimension is not above 0.
    """

    part: str
    diameter_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        if not (self.diameter_mm > 0 and self.length_mm > 0):
            raise ValueError(f"Implant {self.part} is {self.words}, must be above 0.")

    @property
    def words(self) -> str:
        """Diameter and length for people."""
        return f"{self.diameter_mm:g} × {self.length_mm:g} mm"


@dataclass(frozen=True, slots=True)
class Planned:
    """What a case plans.

    Args:
        case: its code.
        size: label of the planned size; empty where none is planned.
        implant: “diameter × length” [mm] or the code of a part; empty where none is planned.
    """

    case: str
    size: str = ""
    implant: str = ""


@dataclass(frozen=True, slots=True)
class Catalogue:
    """What the unit's catalogue knows of sizes.

    Args:
        series: the steps of each series, by its code.
        implants: every implant whose diameter and length are recorded.
    """

    series: Mapping[str, Sequence[SizeOf]]
    implants: tuple[ImplantOf, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """One tray of a template, or one pack of a part, that is to be allocated.

    Args:
        template: code of the template; empty for a single pack.
        part: code of the part; empty for a tray.
        source: where the need comes from, in words.
        essential: the case is short without it; else its lack is only said.
    """

    template: str
    part: str
    source: str
    essential: bool = True


@dataclass(frozen=True, slots=True)
class WantedSize:
    """A size whose barrel, with all that goes with it, must lie in what serves the case."""

    size: SizeOf
    source: str


@dataclass(frozen=True, slots=True)
class Expansion:
    """Everything that a case needs, and what could not be told."""

    wants: tuple[Wanted, ...]
    sizes: tuple[WantedSize, ...]
    findings: tuple[Finding, ...]


def parse(text: str, *, source: str = STANDARD) -> Stated:
    """A stated need from an import.

    Args:
        text: “template:CODE:quantity”, “part:…”, “backup:PART:quantity”, “sizes:SERIES:below:above” or
            “implant:below:above”; quantity and steps may be left out, each then being one.
        source: whose need it is, in words.

    Raises:
        ValueError: it is none of these; the message says what it must be.
    """
    word, *rest = (piece.strip() for piece in text.split(":"))
    kind = next((kind for kind in NeedKind if kind == word), None)
    code = "" if kind is NeedKind.IMPLANT or not rest else rest.pop(0)
    numbers = [int(number) for number in rest if number.isdecimal()]
    most = 1 if kind in COUNTED else 2
    if kind is None or len(numbers) < len(rest) or len(rest) > most:
        raise ValueError(f"must be {EXPECTED}")
    try:
        if kind in COUNTED:
            return Stated(kind, code, numbers[0] if numbers else 1, source=source)
        below, above = [*numbers, 1, 1][:2] if len(numbers) != 1 else numbers * 2
        return Stated(kind, code, below=below, above=above, source=source)
    except ValueError as wrong:
        raise ValueError(f"must be {EXPECTED}") from wrong


def expand(stated: Iterable[Stated], planned: Planned, catalogue: Catalogue) -> Expansion:
    """Each thing that a case needs by itself, with its source in words.

    A backup and a neighbour of the planned implant are not essential: the case can begin without them. A size of
    a window is: whoever asks for it may meet an airway that takes no other.

    Args:
        stated: needs of the procedure and of the operator.
        planned: what the case plans.
        catalogue: what sizes there are.

    Returns:
        Needs in the order stated, a size or a part asked for twice once; and a look for each planned size or
        implant that is missing or unknown, a note where the catalogue has fewer neighbours than asked for.
    """
    wants: list[Wanted] = []
    sizes: dict[SizeOf, WantedSize] = {}
    findings: list[Finding] = []
    for need in stated:
        if need.kind is NeedKind.SIZES:
            more, found = _sizes(need, planned, catalogue)
            for one in more:
                sizes.setdefault(one.size, one)
            findings += found
        elif need.kind is NeedKind.IMPLANT:
            packs, found = _implants(need, planned, catalogue.implants)
            wants += packs
            findings += found
        else:
            wants += _counted(need)
    return Expansion(tuple(wants), tuple(sizes.values()), tuple(findings))


def _counted(need: Stated) -> list[Wanted]:
    backup = need.kind is NeedKind.BACKUP
    source = f"{need.source}, backup" if backup else need.source
    template, part = (need.code, "") if need.kind is NeedKind.TEMPLATE else ("", need.code)
    return [Wanted(template, part, source, not backup)] * need.quantity


def _sizes(need: Stated, planned: Planned, catalogue: Catalogue) -> tuple[list[WantedSize], list[Finding]]:
    steps = sorted(catalogue.series.get(need.code, ()), key=lambda step: step.order)
    there = ", ".join(step.label for step in steps) or "no size"
    if not planned.size:
        sentence = f"Case {planned.case} needs sizes of {need.code}: none is planned, one of {there} must be."
        return [], [look("planned-size-missing", planned.case, sentence, "Enter the planned size.")]
    if all(step.label != planned.size for step in steps):
        sentence = (
            f"Cannot widen the planned size of case {planned.case}: it is {planned.size}, "
            f"must be one of {need.code}: {there}."
        )
        return [], [
            look("planned-size-unknown", planned.case, sentence, "Correct the planned size, or the procedure.")
        ]
    found = window(steps, planned.size, below=need.below, above=need.above)
    at = next(step.order for step in steps if step.label == planned.size)
    sources = {-1: "below the planned size", 0: "planned size", 1: "above the planned size"}
    sizes = [
        WantedSize(step, f"{need.source}, {sources[(step.order > at) - (step.order < at)]}") for step in found.sizes
    ]
    return sizes, [replace(clip, severity=Severity.NOTE) for clip in found.findings]


def _implants(need: Stated, planned: Planned, implants: Sequence[ImplantOf]) -> tuple[list[Wanted], list[Finding]]:
    if not planned.implant:
        sentence = f"Case {planned.case} needs an implant: none is planned, one of the catalogue must be."
        return [], [look("planned-implant-missing", planned.case, sentence, "Enter the planned implant.")]
    named = named_implants(planned.implant, implants)
    if len(named) != 1:
        return [], [_which(planned, named, implants)]
    (middle,) = named
    neighbours, findings = _neighbours(middle, need, implants)
    source = f"{need.source}, planned implant"
    return [Wanted("", middle.part, source), *neighbours], findings


def named_implants(words: str, implants: Iterable[ImplantOf]) -> list[ImplantOf]:
    """The implants that words can mean: a part's code, or “diameter × length”.

    Args:
        words: as planned.
        implants: those of the catalogue.
    """
    by_size = _BY_DIMENSIONS.fullmatch(words)
    wanted = (float(by_size[1]), float(by_size[2])) if by_size else None
    return [one for one in implants if one.part == words.strip() or (one.diameter_mm, one.length_mm) == wanted]


def _which(planned: Planned, named: Sequence[ImplantOf], implants: Sequence[ImplantOf]) -> Finding:
    """The planned implant means none, or more than one."""
    head = f"Cannot tell the implant of case {planned.case}: it is {planned.implant}, "
    if named:
        codes = ", ".join(sorted(one.part for one in named))
        return look(
            "planned-implant-many", planned.case, f"{head}must mean one of {codes}.", "Enter the code of the part."
        )
    there = ", ".join(one.words for one in sorted(implants, key=lambda one: (one.diameter_mm, one.length_mm)))
    sentence = f"{head}must be of the catalogue: {there or 'it has no implant with its dimensions'}."
    return look(
        "planned-implant-unknown", planned.case, sentence, "Correct it, or enter the implant in the catalogue."
    )


def _neighbours(middle: ImplantOf, need: Stated, implants: Sequence[ImplantOf]) -> tuple[list[Wanted], list[Finding]]:
    """The next diameters of the same length, and the next lengths of the same diameter."""
    wide = [one for one in implants if one.length_mm == middle.length_mm]
    long = [one for one in implants if one.diameter_mm == middle.diameter_mm]
    sides = (
        ("narrower", need.below, _next(-middle.diameter_mm, wide, "diameter_mm", -1)),
        ("wider", need.above, _next(middle.diameter_mm, wide, "diameter_mm", 1)),
        ("shorter", need.below, _next(-middle.length_mm, long, "length_mm", -1)),
        ("longer", need.above, _next(middle.length_mm, long, "length_mm", 1)),
    )
    wants: list[Wanted] = []
    findings: list[Finding] = []
    for word, number, there in sides:
        source = f"{need.source}, {word} than the planned implant"
        wants += [Wanted("", one.part, source, essential=False) for one in there[:number]]
        if len(there) < number:
            found = f"only {len(there)} of {number} implants" if there else "no implant"
            sentence = f"The catalogue has {found} {word} than {middle.words}."
            remedy = "Go on with those that there are."
            findings.append(Finding("implant-clipped", Severity.NOTE, middle.part, sentence, remedy))
    return wants, findings


def _next(beyond: float, implants: Iterable[ImplantOf], dimension: str, sign: int) -> list[ImplantOf]:
    """Those beyond a figure, the nearest first."""
    placed = [(sign * getattr(one, dimension), one.part, one) for one in implants]
    return [one for place, _, one in sorted(placed, key=lambda row: row[:2]) if place > beyond]
