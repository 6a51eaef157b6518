"""The label of a quarantine box: what may not happen to it, and ruled blanks for what we do not store."""

from __future__ import annotations

from instruments.models import QuarantineBox
from trays.paper.drawing import draw, qr

BOX_MODULE_DOTS = 8


def box_label(box: QuarantineBox) -> bytes:
    """The label as a tagged PDF; what names the patient is written on it by hand.

    Source of its blanks: UK TSE guidance, Annex E, as reproduced in hospital policies (second hand).
    """
    context = {"box": box, "count": box.boxed.count(), "symbol": qr(box.code, BOX_MODULE_DOTS)}
    return draw("trays/paper/box_label.html", context)
