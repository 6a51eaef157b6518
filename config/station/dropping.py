"""Work at the theatre when a piece in use is dropped or fails: it is scanned, then the single pack in its place."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from config.station.answers import Answer, Press, Scan, did, question, scanned_again, stop
from config.station.barrier import ask_barrier, look_at_barrier
from config.station.screen import Button, Field, View
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Act
from lists.actions import drop_piece, replace_piece
from trays.actions import quarantine_pack
from trays.models import Pack
from trays.states import PackState


def take_piece(scan: Scan) -> Answer:
    """A piece in use is shown, to say what happened to it."""
    piece: Piece = scan.thing.row
    if piece.state != PieceState.IN_USE:
        sentence = f"Cannot set aside {piece.code}: it is {piece.state}, must be in use."
        raise stop("not-in-use", piece.code, sentence, "Scan the pack to open it; its pieces follow.")
    step = "Press below if it was dropped or failed. Else go on."
    return question(f"{scan.thing.words} is in use.", step, piece.code, {**scan.held, "piece": piece.code})


def _fell(press: Press, fault: str) -> Answer:
    code = press.carried("piece")
    done = drop_piece(code, fault, note=press.fields.get("note", ""), act=press.act)
    return did(done, held={**_case(press), "replaces": code})


def _case(press: Press) -> dict[str, str]:
    return {name: code for name, code in press.held.items() if name == "case"}


def takes_its_place(scan: Scan, pack: Pack) -> bool:
    """Whether this pack is the one that is to take the place of a piece."""
    return "replaces" in scan.held and pack.tray_id is None and pack.state == PackState.STERILE


def take_in_its_place(scan: Scan, pack: Pack) -> Answer:
    """The single pack in its place: shown with what to look at, and opened when it is scanned again."""
    scan = replace(scan, thing=replace(scan.thing, code=pack.code))
    if scanned_again(scan, "pack"):
        return _opened(scan.held, scan.act)
    return look_at_barrier(pack, scan)


def _opened(held: Any, act: Act) -> Answer:
    done = replace_piece(held["replaces"], held["pack"], barrier_intact=True, act=act)
    return did(done, held={name: code for name, code in held.items() if name == "case"})


def _press_opened(press: Press) -> Answer:
    return _opened({**press.held, "pack": press.carried("pack"), "replaces": press.carried("replaces")}, press.act)


def _damaged(press: Press) -> Answer:
    done = quarantine_pack(press.carried("pack"), reason="barrier not intact at opening", act=press.act)
    return did(
        done, held={**_case(press), "replaces": press.carried("replaces")}, next_step="Scan another single pack."
    )


PRESSES = {
    "dropped": lambda press: _fell(press, "dropped"),
    "failed": lambda press: _fell(press, "failed"),
    "issue": _press_opened,
    "damaged": _damaged,
}


def ask(view: View) -> dict[str, Any]:
    """What the screen asks of the piece, or of the pack in its place; nothing else."""
    if "pack" in view.held:
        return ask_barrier(view, to="case")
    if "piece" not in view.held:
        return {}
    piece = Piece.objects.select_related("part").get(code=view.held["piece"])
    note = (Field("note", "What failed"),)
    return {
        "asks": f"Was {piece.part.name} {piece.code} dropped, or did it fail?",
        "points": ("Its set comes back short of it by record. Keep it for the return.",),
        "buttons": (Button("dropped", "Dropped", "arrow-down"), Button("failed", "Failed", "x", note)),
    }
