"""Labels and count sheets: what was printed for a pack, and that its label was read back."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

from instruments.carriers import shown
from instruments.identity import mark_key
from journal.actions import Act, Done, action, action_after, need, write_line
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right
from trays.models import Pack, PackLine, Printed
from trays.paper import LABEL_SIZES, count_sheet, label, usual_size
from trays.states import LABELLED, PackState, Paper
from trays.writer import lock_pack


@dataclass(frozen=True, slots=True)
class Drawn:
    """A document, and whether it says of itself that it is a copy."""

    document: bytes
    copy: bool


def _drawn(pack: str, paper: str, *, size: str = "", act: Act) -> Drawn | None:
    """The document as the next print; None where there is nothing to draw, and the action says why."""
    rows = Pack.objects.select_related("tray", "version__template", "assembled_by", "incomplete_second")
    row = rows.filter(code=pack).first()
    if row is None or paper not in list(Paper) or (size and size not in LABEL_SIZES):
        return None
    copy = _is_printed(row, Paper(paper))
    copied_at = act.at if copy else None
    if paper == Paper.COUNT_SHEET:
        return Drawn(count_sheet(row, copied_at=copied_at), copy)
    return Drawn(label(row, LABEL_SIZES[size] if size else usual_size(row), copied_at=copied_at), copy)


def _is_printed(pack: Pack, paper: Paper) -> bool:
    return pack.lines.filter(verb=paper.verb).exists()


@action_after(_drawn)
def print_paper(drawn: Drawn | None, pack: str, paper: str, *, size: str = "", act: Act) -> Done:
    """Draw a label or a count sheet, keep it as it was printed, and record it; whatever follows the first is a copy.

    `size` of a label is width × height in mm: 76x38, 50x25 or 32x12; empty for the usual one.
    """
    row = lock_pack(pack)
    if paper not in list(Paper):
        raise Refused(unknown("paper", paper))
    if size and size not in LABEL_SIZES:
        raise Refused(unknown("size", size))
    need(Right.ASSEMBLE, f"print the {paper} of", row.code, act)
    findings = tuple(_printing_facts(row, paper))
    if findings:
        raise Refused(*findings)
    verb = Paper(paper).verb
    if drawn is None or drawn.copy != _is_printed(row, Paper(paper)):  # another print came between
        drawn = _drawn(pack, paper, size=size, act=act)
    assert drawn is not None  # noqa: S101 - whatever it would not draw was refused
    sha256 = hashlib.sha256(drawn.document).hexdigest()
    Printed.objects.get_or_create(pack=row, sha256=sha256, defaults={"document": drawn.document})
    write_line(PackLine, row, verb, act, evidence={"sha256": sha256, "copy": drawn.copy})
    which = f"A copy of the {paper}" if drawn.copy else f"The {paper}"
    return Done.of("print_paper", row, f"{which} of {row.code} is printed.")


def _printing_facts(pack: Pack, paper: str) -> Iterator[Finding]:
    if paper == Paper.LABEL and pack.state not in LABELLED:
        yield stop(
            "wrong-state",
            pack.code,
            f"Cannot print the label of {pack.code}: it is {pack.state}, must be on its way to a case.",
            "Nothing is printed, so that no other pack can carry this label.",
        )


@action
def confirm_label(pack: str, read: str, *, act: Act) -> Done:
    """Record that the printed label was scanned back: it can be read, and it stands on its own pack."""
    row = lock_pack(pack)
    need(Right.ASSEMBLE, "read back the label of", row.code, act)
    findings = tuple(_label_facts(row, read))
    if findings:
        raise Refused(*findings)
    write_line(PackLine, row, "confirm_label", act, evidence={"read": read.strip()})
    sentence = f"The label of {row.name} {row.code} can be read: its assembly is closed."
    return Done.of("confirm_label", row, sentence, "Bring it to the steriliser.")


def _label_facts(pack: Pack, read: str) -> Iterator[Finding]:
    if pack.state != PackState.ASSEMBLED:
        yield stop(
            "wrong-state",
            pack.code,
            f"Cannot read back the label of {pack.code}: it is {pack.state}, must be assembled.",
            "Nothing was changed.",
        )
    if mark_key(read) != pack.code:
        yield stop(
            "other-label",
            pack.code,
            f"Cannot read back the label of {pack.code}: the label says {shown(read.strip())}, must say {pack.code}.",
            f"Look which pack the label belongs to, and scan the label of {pack.code}.",
        )
