"""A whole returned pack into the quarantine box of its case."""

from __future__ import annotations

from collections.abc import Iterable

from instruments.actions.boxes import box_pieces
from instruments.models import Piece
from instruments.states import PieceState
from instruments.writer import lock_box, lock_pieces
from journal.actions import Act, Done, action, write_line
from journal.findings import Finding, Refused, look, stop
from trays.models import Pack, PackLine
from trays.states import PackState
from trays.writer import lock_pack


@action
def put_pack_in_box(box: str, pack: str, *, act: Act) -> Done:
    """Put all that came back of a returned pack into a quarantine box; what is elsewhere is named."""
    held, row = lock_box(box), lock_pack(pack)
    pieces = lock_pieces(row.contents.values_list("piece__code", flat=True))
    here = [piece for piece in pieces if piece.state == PieceState.RETURNED]
    facts = _facts(row, here)
    if facts:
        raise Refused(*facts)
    box_pieces(held, here, act)
    write_line(PackLine, row, "put_in_box", act, evidence={"box": held.code})
    sentence = f"{len(here)} pieces of {row.code} are in quarantine box {held.code}."
    return Done.of("put_pack_in_box", held, sentence, "Seal the box when all is in.", _elsewhere(row, pieces, here))


def _facts(pack: Pack, here: Iterable[Piece]) -> list[Finding]:
    if pack.state != PackState.RETURNED:
        sentence = f"Cannot put {pack.code} in the box: it is {pack.state}, must be returned."
        return [stop("wrong-state", pack.code, sentence, "Count its return first, with gloves, at the box.")]
    if not here:
        sentence = f"Cannot put {pack.code} in the box: none of its pieces is returned, at least one must be."
        return [stop("nothing-returned", pack.code, sentence, "Look where its pieces are, and call the quality lead.")]
    return []


def _elsewhere(pack: Pack, pieces: Iterable[Piece], here: list[Piece]) -> list[Finding]:
    away = [piece for piece in pieces if piece not in here]
    return [
        look(
            "not-in-box",
            piece.code,
            f"{piece.code} of {pack.code} is {piece.state}: it is not in the box.",
            "Stop what it is in, keep it apart, and call the quality lead.",
        )
        for piece in away
    ]
