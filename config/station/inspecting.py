"""Work at the inspection bench: each cleaned piece is looked at and tested."""

from __future__ import annotations

from dataclasses import replace

from config.station.answers import Answer, Press, Scan, did, need_kind, question, scanned_again, shown
from config.station.queues import pieces_by_part
from config.station.resolve import page_of
from config.station.screen import Button, Field, Item, Shown, View, cut, why_not_now
from instruments.actions import inspect, send_to_repair
from instruments.identity import Kind
from instruments.models import Part, PartKind, Piece
from instruments.states import PIECE_MOVES, PieceState
from journal.findings import Refused
from journal.moves import why_not

LOOK_AT: dict[PartKind, str] = {
    PartKind.BARREL: "Round, no burr at the side ports, coupling locks, size legible.",
    PartKind.SHEATH: "Round, no burr, coupling locks, size legible.",
    PartKind.BASE: "Ports turn and lock, no residue in them, seals seat.",
    PartKind.SEAL: "No tear, opening not widened, shape kept.",
    PartKind.TELESCOPE: "Image clear to the edge, light comes through, glass whole, shaft without dents.",
    PartKind.FORCEPS: "Jaws meet, pivot moves freely, ratchet holds; scissors cut.",
    PartKind.SUCTION: "Bore free along its length, tip smooth, not bent.",
    PartKind.LOADER: "Bore smooth and free, moving parts run.",
    PartKind.PUSHER: "Straight, tip smooth, runs in its sheath.",
    PartKind.ADAPTER: "Coupling locks on both sides, no residue.",
    PartKind.LEAD: "Fibres lit over the whole end, both end faces clean, jacket whole.",
    PartKind.CONTAINER: "Lid closes, filter and gasket whole, not warped.",
}
"""What the eye looks for, by kind of part. Common practice, no source; the manufacturer's instructions come first."""
LOOK_AT_ANY = "Clean, dry, whole; moving parts move."
RESULTS = (("passed", "Passed"), ("failed", "Failed"))


def take(scan: Scan) -> Answer:
    """A piece is shown with what to look at; scanned again it is clean and working."""
    need_kind(scan.thing, (Kind.PIECE,))
    piece: Piece = scan.thing.row
    row = PIECE_MOVES["inspect"]
    findings = why_not(row, subject=piece.code, state=piece.state, rights=scan.act.by.rights)
    if findings:
        raise Refused(*findings)
    if scanned_again(scan, "piece") and not piece.part.insulated:
        function = True if piece.part.function_test else None
        return did(inspect(piece.code, clean=True, function=function, act=scan.act), held={})
    what = f"{scan.thing.words}: look at it."
    return question(what, _how_to_answer(piece.part), piece.code, shown(scan, "piece"))


def _how_to_answer(part: Part) -> str:
    if part.insulated:
        return "Enter the result of its insulation test below."
    tested = ", function test passed" if part.function_test else ""
    return f"Clean{tested}: scan it again. If not, say so below."


def _clean(press: Press) -> Answer:
    results = {"passed": True, "failed": False}
    done = inspect(
        press.carried("piece"),
        clean=True,
        function=results.get(press.fields.get("function", "")),
        insulation=results.get(press.fields.get("insulation", "")),
        note=press.fields.get("note", ""),
        act=press.act,
    )
    return did(done, held={})


def _soiled(press: Press) -> Answer:
    return did(inspect(press.carried("piece"), clean=False, note=press.fields.get("note", ""), act=press.act), held={})


def _repair(press: Press) -> Answer:
    return did(send_to_repair(press.carried("piece"), reason=press.fields.get("reason", ""), act=press.act), held={})


PRESSES = {"clean": _clean, "soiled": _soiled, "repair": _repair}


def show(view: View) -> Shown:
    """The piece to look at; and how many of each part wait."""
    items, more = cut(
        Item("Cleaned", f"{count} × {name}" if count > 1 else name)
        for name, count in pieces_by_part(PieceState.CLEANED)
    )
    waiting = Shown("Waiting for inspection", items, more, none="No cleaned piece waits.")
    if "piece" not in view.held:
        return waiting
    piece = Piece.objects.select_related("part").get(code=view.held["piece"])
    part = piece.part
    points = [LOOK_AT.get(PartKind(part.kind), LOOK_AT_ANY)]
    if part.take_apart:
        points.append(f"Taken apart: {part.take_apart}")
    if part.insulated:
        points.append("Insulated: test the whole shaft with the insulation tester.")
    return replace(
        waiting,
        carried=(Item("Look at", f"{part.name} {piece.code}", page_of(Kind.PIECE, piece.code)),),
        asks=f"{part.name}: what do you see under magnification?",
        points=tuple(points),
        buttons=_buttons(piece, view),
    )


def _buttons(piece: Piece, view: View) -> tuple[Button, ...]:
    part = piece.part
    tests = [
        Field(name, f"{name.capitalize()} test", "choice", RESULTS, required=True)
        for name, needed in (("function", part.function_test), ("insulation", part.insulated))
        if needed
    ]
    label = "Record the tests: it is clean" if tests else "Clean and whole"
    inspected = why_not_now(PIECE_MOVES["inspect"], piece.code, piece.state, view.by)
    back = why_not_now(PIECE_MOVES["find_soiled"], piece.code, piece.state, view.by)
    repair = why_not_now(PIECE_MOVES["send_to_repair"], piece.code, piece.state, view.by)
    return (
        Button("clean", label, "check", tuple(tests), main=True, why_not=inspected),
        Button("soiled", "Soiled: wash it again", "droplets", why_not=back),
        Button("repair", "Send it to repair", "wrench", (Field("reason", "Fault", required=True),), why_not=repair),
    )
