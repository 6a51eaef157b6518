"""Labels and count sheets: what was printed for a pack, and that its label was read back."""

from __future__ import annotations

from collections.abc import Iterator

from instruments.carriers import shown
from instruments.identity import mark_key
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right
from trays.models import Pack, PackLine
from trays.states import LABELLED, PackState, Paper
from trays.writer import lock_pack


@action
def print_paper(pack: str, paper: str, *, sha256: str, copy: bool = False, act: Act) -> Done:
    """Record that a label or a count sheet was printed; whatever follows the first is marked as a copy on it.

    `sha256` is that of the printed document, so that a document found later can be told from another.
    """
    row = lock_pack(pack)
    if paper not in list(Paper):
        raise Refused(unknown("paper", paper))
    need(Right.ASSEMBLE, f"print the {paper} of", row.code, act)
    verb = Paper(paper).verb
    findings = tuple(_printing_facts(row, paper, copy=copy))
    if findings:
        raise Refused(*findings)
    write_line(PackLine, row, verb, act, evidence={"sha256": sha256, "copy": copy})
    which = f"A copy of the {paper}" if copy else f"The {paper}"
    return Done.of("print_paper", row, f"{which} of {row.code} is printed.")


def _printing_facts(pack: Pack, paper: str, *, copy: bool) -> Iterator[Finding]:
    if paper == Paper.LABEL and pack.state not in LABELLED:
        yield stop(
            "wrong-state",
            pack.code,
            f"Cannot print the label of {pack.code}: it is {pack.state}, must be on its way to a case.",
            "Nothing is printed, so that no other pack can carry this label.",
        )
    if not copy and pack.lines.filter(verb=Paper(paper).verb).exists():
        yield stop(
            "printed-before",
            pack.code,
            f"Cannot print the {paper} of {pack.code} as the first: it was printed before.",
            "Print a copy.",
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
