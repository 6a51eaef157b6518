"""Questions to pieces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from instruments.life import fit_to_pack, single_use
from instruments.models import Piece, PieceLine
from journal.findings import Finding


def single_use_facts(pieces: Iterable[Piece], verb: str, subject: str = "") -> Iterator[Finding]:
    """Never 9 for pieces that are to be packed or loaded, from their trail, in one query.

    An item was opened when it was in use, or came sterile from its maker and is no longer in that pack. It
    touched no patient only when each return from use says that it came back unused.

    Args:
        pieces: read with their parts.
        verb: as it stands in a sentence.
        subject: what holds them; each piece by itself when empty.

    Yields:
        At most one stop for each piece.
    """
    for_one_use = [piece for piece in pieces if piece.part.single_use]
    lines: dict[int, list[PieceLine]] = {piece.pk: [] for piece in for_one_use}
    for line in PieceLine.objects.filter(piece__in=for_one_use, verb__in=["use", "take_back", "receive"]):
        lines[line.piece_id].append(line)
    for piece in for_one_use:
        verbs = [line.verb for line in lines[piece.pk]]
        unused = sum(line.verb == "take_back" and line.evidence.get("unused") is True for line in lines[piece.pk])
        yield from single_use(
            verb,
            subject or piece.code,
            f"{piece.part.name} {piece.code}",
            opened="use" in verbs or "receive" in verbs,
            touched_patient=verbs.count("use") > unused,
            permission=piece.part.reprocess_unused,
        )


def against_packing(piece: Piece, today: date) -> tuple[Finding, ...]:
    """Nevers 4 and 9: whatever in a piece's life, tests and past forbids packing it."""
    return (*fit_to_pack(piece.wear, today), *single_use_facts([piece], "pack"))
