"""What the mark on a maker's pack says of it, before it is received."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.utils import timezone

from instruments.carriers import Decoded, Scheme, listed, shown
from instruments.identity import decode
from instruments.models import Part, PieceLine
from instruments.reads import scanner_doubt
from journal.findings import Finding, look, stop, stops
from journal.models import Station

FIELDS = ("lot", "serial")


@dataclass(frozen=True, slots=True)
class MakersMark:
    """What the form of a maker's pack takes from a mark.

    Args:
        fields: by the form's names; empty when the mark cannot be trusted.
        findings: what is wrong with it, and what it does not say.
        sentence: what was read, in words.
    """

    fields: dict[str, str]
    findings: tuple[Finding, ...]
    sentence: str


def makers_mark(text: str, *, station: Station | None, at: datetime) -> MakersMark:
    """Part, lot, serial and last day of use as a scanned mark gives them.

    The part is the one under which the same item number was received last: the catalogue holds no item numbers.

    Args:
        text: as scanned, with its separators.
        station: where; its scanner must be checked before a GS1 serial is taken.
        at: when.
    """
    decoded = decode(text)
    wrong = tuple(_wrong(text, decoded, station, at))
    if wrong:
        return MakersMark({}, wrong, "")
    said = decoded.identifiers
    part = _part_of(decoded)
    fields = {name: said[name] for name in FIELDS if name in said} | {"mark": text.strip()}
    if part is not None:
        fields["part"] = part.code
    if "expiry" in said:
        fields["expires"] = said["expiry"]
    told = {name: said[name] for name in (*FIELDS, "expiry") if name in said}
    sentence = f"Read{f' as {part.name}' if part else ''}: {listed(told) if told else 'an item number alone'}."
    return MakersMark(fields, tuple(_open(decoded, part)), sentence)


def _wrong(text: str, decoded: Decoded, station: Station | None, at: datetime) -> Iterator[Finding]:
    """What forbids to take anything from a mark."""
    yield from stops(decoded.findings)
    if decoded.scheme in (Scheme.OWN, Scheme.UNKNOWN) and not stops(decoded.findings):
        found = "one of our own codes" if decoded.scheme is Scheme.OWN else "plain text"
        yield stop(
            "not-a-makers-mark",
            shown(text),
            f"Cannot take {shown(text.strip())} as the maker’s mark: it is {found}, must be a GS1 or HIBC mark.",
            "Scan the symbol on the maker’s label, or type what is printed beside it.",
        )
    if station is not None and (doubt := scanner_doubt(text, station, at)):
        yield doubt
    expiry = decoded.identifiers.get("expiry", "")
    if expiry and date.fromisoformat(expiry) < timezone.localdate(at):
        yield stop(
            "expired",
            shown(text),
            f"Cannot receive it: its last day of use was {expiry}, must be today or later.",
            "Keep it apart and call its supplier.",
        )


def _open(decoded: Decoded, part: Part | None) -> Iterator[Finding]:
    """What a person must still say."""
    said = decoded.identifiers
    lacking = (
        ("part-unknown", part is None, "The item number was not received before.", "Choose the part."),
        ("lot-missing", not said.keys() & set(FIELDS), "The mark gives no lot and no serial.", "Type it as printed."),
        ("expiry-missing", "expiry" not in said, "The mark gives no last day of use.", "Type it as printed."),
    )
    for slug, lacks, sentence, remedy in lacking:
        if lacks:
            yield look(slug, decoded.key, sentence, remedy)


def _part_of(decoded: Decoded) -> Part | None:
    """The part under which the item number of a mark was received last."""
    said = decoded.identifiers
    if "gtin" in said:
        start = f"gs1:01{said['gtin']}"
        same = Q(evidence__mark__startswith=start)
    elif "lic" in said and "reference" in said:
        start = f"hibc:{said['lic']}{said['reference']}"
        same = Q(evidence__mark=start) | Q(evidence__mark__startswith=f"{start}/")
    else:
        return None
    lines = PieceLine.objects.filter(same, verb="receive", piece__part__single_use=True)
    line = lines.select_related("piece__part").order_by("-id").first()
    return line.piece.part if line else None
