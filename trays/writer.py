"""The one writer of a pack's state, and how pieces enter and leave a pack."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from instruments.models import Piece
from instruments.writer import lock_pieces, move_piece
from journal.actions import Act, move
from journal.findings import Finding, Refused, unknown
from trays.models import Carried, Pack, PackLine, Tray
from trays.states import PACK_MOVES


def lock_packs(codes: Iterable[str]) -> list[Pack]:
    """Packs of these codes, locked in key order.

    Raises:
        Refused: a code that no pack has.
    """
    wanted = set(codes)
    found = list(Pack.objects.select_for_update(of=("self",)).filter(code__in=wanted).order_by("pk"))
    missing = sorted(wanted - {pack.code for pack in found})
    if missing:
        raise Refused(*(unknown("pack", code) for code in missing))
    return found


def lock_pack(code: str) -> Pack:
    """One pack, locked."""
    return lock_packs([code])[0]


def lock_tray(code: str) -> Tray:
    """One tray, locked: its row stands for everything that lies on it.

    Raises:
        Refused: no tray has this code.
    """
    tray = Tray.objects.select_for_update(of=("self",)).select_related("template").filter(code=code).first()
    if tray is None:
        raise Refused(unknown("tray", code))
    return tray


def move_pack(
    pack: Pack,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    **fields: Any,
) -> None:
    """Move a locked pack along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(pack, PACK_MOVES[name], PackLine, act, facts=facts, reason=reason, evidence=evidence, **fields)


def carried_pieces(pack: Pack) -> list[Piece]:
    """The pieces a pack still carries, locked in key order."""
    return lock_pieces(Carried.objects.filter(pack=pack).values_list("piece__code", flat=True))


def give_up(pieces: Iterable[Piece], name: str, act: Act, *, reason: str = "", **fields: Any) -> None:
    """Pieces leave their pack by one move each, as a consequence of what happened to the pack."""
    for piece in pieces:
        move_piece(piece, name, act, reason=reason, follows=True, **fields)
        Carried.objects.filter(piece=piece).delete()
