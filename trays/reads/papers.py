"""Questions to the papers of a pack."""

from __future__ import annotations

from dataclasses import dataclass

from journal.findings import Finding, look
from trays.models import Pack, PackLine
from trays.states import PackKind, PackState, Paper

READ_BACK = "confirm_label"  # the verb of the line that a label was read back
_BY_US = frozenset({PackKind.TRAY, PackKind.SINGLE})


@dataclass(frozen=True, slots=True)
class LabelStanding:
    """How far the label of a pack is.

    Args:
        printed: the line of its first print; None before.
        read: the line of its last reading; None before.
        asked: whether a pack of this kind carries a label of ours that is read back.
        open: whether it is still to be read back before the pack goes into a load.
    """

    printed: PackLine | None
    read: PackLine | None
    asked: bool
    open: bool


def label_standing(pack: Pack) -> LabelStanding:
    """How far the label of a pack is, in one query."""
    printed = read = None
    for line in PackLine.objects.filter(pack=pack, verb__in=[Paper.LABEL.verb, READ_BACK]).select_related("person"):
        if line.verb == READ_BACK:
            read = line
        else:
            printed = printed or line
    asked = _is_asked(pack)
    return LabelStanding(printed, read, asked, asked and read is None and pack.state == PackState.ASSEMBLED)


def _is_asked(pack: Pack) -> bool:
    """A maker's pack carries its maker's label, and an item for immediate use none."""
    return pack.kind in _BY_US


def unread_label(pack: Pack) -> tuple[Finding, ...]:
    """A look when a pack goes on its way although nobody has read its label back."""
    if not _is_asked(pack) or PackLine.objects.filter(pack=pack, verb=READ_BACK).exists():
        return ()
    sentence = f"The label of {pack.name} {pack.code} was not read back at the bench."
    return (look("label-not-read", pack.code, sentence, "Look that the label on it is its own and can be read."),)
