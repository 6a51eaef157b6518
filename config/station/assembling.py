"""Work at the assembly bench: a tray opens its bench, a piece says where it is wanted, a label is read back."""

from __future__ import annotations

from config.station.answers import Answer, Press, Result, Scan, did, need_kind, question
from config.station.queues import trays_to_assemble, trays_wanting
from config.station.resolve import bench_of, page_of
from config.station.screen import Button, Item, Shown, View, cut, why_not_now
from instruments.identity import Kind
from instruments.models import Piece
from instruments.states import PIECE_MOVES
from journal.findings import Refused
from journal.moves import why_not
from trays.actions import confirm_label, pack_single


def take(scan: Scan) -> Answer:
    """A tray goes to its bench; a piece is shown with the trays that want it; a printed label is read back."""
    need_kind(scan.thing, (Kind.TRAY, Kind.PIECE, Kind.PACK))
    if scan.thing.kind is Kind.TRAY:
        what = f"{scan.thing.words} is on the bench."
        return Answer(Result.TAKEN, what, mark=scan.thing.code, go=bench_of(scan.thing.code), held={})
    if scan.thing.kind is Kind.PACK:
        return did(confirm_label(scan.thing.code, scan.thing.code, act=scan.act), held={})
    return _piece(scan)


def _piece(scan: Scan) -> Answer:
    piece: Piece = scan.thing.row
    findings = why_not(PIECE_MOVES["put_on_tray"], subject=piece.code, state=piece.state, rights=scan.act.by.rights)
    if findings:
        raise Refused(*findings)
    trays = trays_wanting(piece)
    wanted = f"{len(trays)} trays want it." if len(trays) != 1 else f"{trays[0].name} wants it."
    step = "Scan the tray, then the piece at its bench." if trays else "Pack it by itself below, or put it into stock."
    what = f"{scan.thing.words}: {wanted if trays else 'no tray wants it now.'}"
    return question(what, step, piece.code, {"piece": piece.code})


def _single(press: Press) -> Answer:
    done = pack_single(press.carried("piece"), act=press.act)
    return did(done, held={"packed": done.mark})


PRESSES = {"single": _single}


def show(view: View) -> Shown:
    """Trays to assemble, those begun first; for a piece in hand, the trays that want it."""
    if "piece" in view.held:
        return _in_hand(view)
    items, more = cut(
        Item(
            "Begun" if laid else "Empty",
            f"{tray.name}: {laid} pieces laid" if laid else tray.name,
            bench_of(tray.code),
        )
        for tray, laid in trays_to_assemble()
    )
    packed = view.held.get("packed", "")
    links = ((f"Print the label of {packed}", page_of(Kind.PACK, packed)),) if packed else ()
    return Shown("Trays to assemble", items, more, none="Every tray is packed.", links=links)


def _in_hand(view: View) -> Shown:
    piece = Piece.objects.select_related("part").get(code=view.held["piece"])
    items, more = cut(Item("Wants it", tray.name, bench_of(tray.code)) for tray in trays_wanting(piece))
    why = why_not_now(PIECE_MOVES["pack"], piece.code, piece.state, view.by)
    return Shown(
        "Trays that want it",
        items,
        more,
        none="No tray wants it now.",
        carried=(Item("In hand", f"{piece.part.name} {piece.code}", page_of(Kind.PIECE, piece.code)),),
        buttons=(Button("single", "Pack it by itself", "package", why_not=why),),
    )
