"""Labels of packs in three sizes. Nothing on them names a patient, and nothing on them is a maker's symbol."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import datetime

from instruments.carriers import Scheme
from instruments.gs1 import printed
from instruments.models import Piece
from trays.models import Lack, Pack
from trays.paper.drawing import datamatrix, draw, of_pack, qr
from trays.states import PackKind

MAKERS_MODULE_DOTS = 3


@dataclass(frozen=True, slots=True)
class LabelSize:
    """A size of label, and what finds room on it.

    Args:
        name: width and height [mm], as an address says them: "76x38".
        module_dots: width of a module of its symbol [dots of a 203 dpi printer].
        tight_dots: the same where more than usual must be said.
        name_characters: a longer name is set smaller, and left out on a pouch.
        lack_characters: room for the names of what lacks; the rest is counted.
        is_pouch: too small for more than code, name and use-by date; its symbol is a DataMatrix, not a QR code.
        always_blanks: it has blanks for load and programme even when the pack is incomplete.
    """

    name: str
    module_dots: int
    tight_dots: int
    name_characters: int
    lack_characters: int
    is_pouch: bool = False
    always_blanks: bool = False


LABEL_SIZES: dict[str, LabelSize] = {
    size.name: size
    for size in (
        LabelSize("76x38", 6, 5, 44, 90, always_blanks=True),
        LabelSize("50x25", 4, 3, 44, 26),
        LabelSize("32x12", 4, 4, 40, 0, is_pouch=True),
    )
}


def usual_size(pack: Pack) -> LabelSize:
    """The label for a pack of this kind: the largest for trays."""
    return LABEL_SIZES["76x38" if pack.kind == PackKind.TRAY else "50x25"]


def label(pack: Pack, size: LabelSize, *, copied_at: datetime | None = None) -> bytes:
    """The label of a pack as a tagged PDF of one page.

    Args:
        pack: read with tray, template and the person who assembled it.
        size: of the label.
        copied_at: when this copy is printed; None for the first print.
    """
    item = None if pack.version else pack.contents.select_related("piece").first()
    makers = "" if item is None or size.is_pouch else _makers_identity(item.piece)
    marked = pack.incomplete or copied_at is not None
    is_long = len(pack.name) > (size.name_characters // 2 if marked and size.is_pouch else size.name_characters)
    is_tight = marked or is_long or bool(makers)
    lacks = list(pack.lacks.order_by("id"))
    named = _that_fit(lacks, size.lack_characters // 2 if is_long else size.lack_characters)
    own = datamatrix if size.is_pouch else qr
    context = {
        "item": item,
        "lacks": named,
        "more_lacks": len(lacks) - len(named),
        "is_long": is_long,
        "is_tight": is_tight,
        "size": size,
        "symbol": own(pack.code, size.tight_dots if is_tight else size.module_dots),
        "makers": datamatrix(makers, MAKERS_MODULE_DOTS, gs1=True) if makers else "",
    }
    return draw("trays/paper/label.html", {**of_pack(pack, copied_at), **context})


def _makers_identity(piece: Piece) -> str:
    """What the maker's GS1 mark of a piece says, as our own symbol of it says it; empty when it has none."""
    mark = piece.marks.filter(scheme=Scheme.GS1, current=True).first()
    if mark is not None:
        return printed(mark.key, expires=piece.expires)
    received = piece.lines.filter(verb="receive").first()
    return printed(received.evidence.get("mark", ""), expires=piece.expires) if received else ""


def _that_fit(lacks: list[Lack], characters: int) -> list[Lack]:
    """The first lacks that a label has room for."""
    ends = itertools.accumulate(len(lack.part_name) + len("2 × ; ") for lack in lacks)
    return [lack for lack, end in zip(lacks, ends, strict=True) if end <= characters]
