"""Work at the return: a set comes back, each piece is counted, and whatever has not come back is named."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from config.station.answers import (
    Answer,
    Press,
    Result,
    Scan,
    did,
    need_kind,
    question,
    refused,
    scanned_again,
    shown,
    stop,
)
from config.station.queues import counts_open, packs_out
from config.station.resolve import Thing, page_of
from config.station.screen import Button, Field, Item, Shown, View, cut, no_right, why_not_now
from config.templatetags.words import moment
from instruments.actions import find
from instruments.identity import Kind
from instruments.models import PartKind, Piece
from instruments.states import PIECE_MOVES, PieceState
from journal.actions import Done
from journal.findings import Refused
from journal.models import Person
from journal.roles import Right
from lists.actions import close_count, count_piece, discard_piece, implant_piece, put_back, take_back
from lists.models import Issue
from lists.reads import to_count
from trays.models import Carried, Pack
from trays.states import PACK_MOVES, PackState


def take(scan: Scan) -> Answer:
    """A pack or its tray comes back; then each of its pieces is counted."""
    need_kind(scan.thing, (Kind.PACK, Kind.TRAY, Kind.PIECE))
    if scan.thing.kind is Kind.PIECE:
        return _piece(scan)
    pack = _pack_out(scan.thing)
    if pack.state == PackState.ISSUED:
        return _unopened(replace(scan, thing=replace(scan.thing, code=pack.code)), pack)
    if pack.state == PackState.RETURNED and Issue.objects.filter(pack=pack, ended=False).exists():
        return Answer(
            Result.LOOK, f"{pack.name} {pack.code} is back already.", _left(pack), pack.code, held={"pack": pack.code}
        )
    return _back(take_back(pack.code, act=scan.act), pack)


def _pack_out(thing: Thing) -> Pack:
    """The pack itself, or the pack that a tray went out as.

    Raises:
        Refused: no pack of the tray is out.
    """
    if thing.kind is Kind.PACK:
        pack: Pack = thing.row
        return pack
    issue = Issue.objects.filter(pack__tray=thing.row, ended=False).select_related("pack").last()
    if issue is None:
        sentence = f"Cannot take back {thing.words}: no pack of it is with a case, one must be."
        raise stop(
            "not-with-a-case", thing.code, sentence, "Look up the tray; scan its pieces one by one if it is here."
        )
    return issue.pack


def _unopened(scan: Scan, pack: Pack) -> Answer:
    if scanned_again(scan, "unopened"):
        return did(put_back(pack.code, barrier_intact=True, act=scan.act), held={})
    sentence = f"{pack.name} {pack.code} was not opened. Look at its barrier."
    step = "Dry, whole and sealed: scan it again. If not, say so below."
    return question(sentence, step, pack.code, shown(scan, "unopened", "pack", "piece"))


def _back(done: Done, pack: Pack) -> Answer:
    issue = Issue.objects.filter(pack=pack).select_related("case").latest("id")
    what = f"{pack.name} {pack.code} is back from case {issue.case.code}."
    return did(done, held={} if issue.ended else {"pack": pack.code}, what=what, next_step=_left(pack))


def _left(pack: Pack) -> str:
    """How far the count of a pack is."""
    left = to_count(pack).count()
    if left:
        return f"{left} of {pack.contents.count()} pieces still to be counted."
    pack.refresh_from_db()
    if pack.state == PackState.OPENED:
        return f"Every piece is counted. Scan {pack.code} itself."
    return f"The count of {pack.code} is closed: nothing is missing."


def _piece(scan: Scan) -> Answer:
    piece: Piece = scan.thing.row
    if piece.state == PieceState.MISSING:
        return did(find(piece.code, act=scan.act), what=f"{scan.thing.words} was missing and is found.")
    carried = Carried.objects.filter(piece=piece).select_related("pack").first()
    try:
        done = count_piece(piece.code, act=scan.act)
    except Refused as refusal:
        if refusal.code == "not-in-use":
            raise _counted_before(piece) or refusal from None
        if refusal.code != "single-use" or carried is None:
            raise
        held = {"pack": carried.pack.code, "piece": piece.code}
        return replace(refused(refusal, piece.code), held=held)
    return _counted(done, piece, carried.pack if carried else None, scan.held.get("pack", ""), "counted")


def _counted_before(piece: Piece) -> Refused | None:
    """A piece that was counted already says when, and for which pack."""
    line = piece.lines.filter(verb="take_back").last()
    if line is None or piece.state != PieceState.RETURNED:
        return None
    pack = line.evidence.get("pack", "its pack")
    sentence = f"Cannot count {piece.code} again: it was counted for {pack} on {moment(line.occurred_at)}."
    remedy = "Nothing was changed. If two pieces carry this mark, set both aside."
    return stop("already-counted", piece.code, sentence, remedy)


def _counted(done: Done, piece: Piece, pack: Pack | None, counting: str, word: str) -> Answer:
    """A piece left its pack: go on with that pack, and say so when it is another than the one being counted."""
    what = f"{piece.part.name} {piece.code} {word}."
    if pack is None:  # sent again: it left its pack the first time
        return did(done, what=what)
    still_open = Issue.objects.filter(pack=pack, ended=False).exists()
    answer = did(done, held={"pack": pack.code} if still_open else {}, what=what, next_step=_left(pack))
    if counting in ("", pack.code):
        return answer
    also = f"It belongs to {pack.name} {pack.code}, not to {counting}: look whether the sets were mixed."
    return replace(answer, result=Result.LOOK, also=(also, *answer.also))


def _not_intact(press: Press) -> Answer:
    code = press.carried("unopened")
    done = put_back(code, barrier_intact=False, act=press.act)
    return did(done, held={"pack": code}, next_step=_left(Pack.objects.get(code=code)))


def _held_piece(press: Press) -> tuple[Piece, Pack, str]:
    """The single-use piece that the station asks about, its pack and its case.

    Raises:
        Refused: it has left its pack meanwhile.
    """
    code = press.carried("piece")
    carried = Carried.objects.filter(piece__code=code).select_related("piece__part", "pack").first()
    issue = Issue.objects.filter(pack=carried.pack).select_related("case").last() if carried else None
    if carried is None or issue is None:
        raise stop("not-in-use", code, f"Cannot decide on {code}: it is in no pack any more.", "Nothing was changed.")
    return carried.piece, carried.pack, issue.case.code


def _discard(press: Press) -> Answer:
    piece, pack, _ = _held_piece(press)
    done = discard_piece(piece.code, reason=press.fields.get("reason", ""), act=press.act)
    return _counted(done, piece, pack, pack.code, "discarded")


def implanted(press: Press) -> Answer:
    """The implant that the station asks about stays in the patient."""
    piece, pack, case = _held_piece(press)
    done = implant_piece(piece.code, case, act=press.act)
    return _counted(done, piece, pack, pack.code, f"implanted in case {case}")


def _unused(press: Press) -> Answer:
    piece, pack, _ = _held_piece(press)
    done = count_piece(piece.code, unused=True, act=press.act)
    return _counted(done, piece, pack, pack.code, "counted as unused")


def _close(press: Press) -> Answer:
    done = close_count(press.carried("pack"), reason=press.fields.get("reason", ""), act=press.act)
    return did(done, held={})


PRESSES = {
    "close": _close,
    "not-intact": _not_intact,
    "discard": _discard,
    "implanted": implanted,
    "unused": _unused,
}


def show(view: View) -> Shown:
    """The pieces still to be counted by name; without a pack, what is out."""
    if "pack" in view.held:
        return _counting(view)
    items, more = cut(_out(row) for row in (*counts_open(), *packs_out()))
    ask = _ask_barrier(view) if "unopened" in view.held else {}
    return Shown("Packs that are out", items, more, none="No pack is out.", **ask)


def _out(issue: Issue) -> Item:
    pack = issue.pack
    fact = f"{pack.name} {pack.code}, case {issue.case.code}" + (": its count is open" if issue.returned_at else "")
    return Item(pack.state, fact, page_of(Kind.PACK, pack.code))


def _counting(view: View) -> Shown:
    pack = Pack.objects.get(code=view.held["pack"])
    rows = to_count(pack).select_related("piece__part").order_by("piece__part__name", "piece__code")
    items, more = cut(
        Item("", f"{row.piece.part.name} {row.piece.code}", page_of(Kind.PIECE, row.piece.code)) for row in rows
    )
    left = len(items) + more
    ask = _ask_single_use(view) if "piece" in view.held else {}
    shown_now = Shown(
        f"{left} of {pack.contents.count()} still to be counted",
        items,
        more,
        carried=(Item("Counting", f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code)),),
        none="Every piece is counted.",
        **ask,
    )
    return replace(shown_now, buttons=(*shown_now.buttons, _close_button(pack, left, view.by)))


def _close_button(pack: Pack, left: int, by: Person) -> Button:
    missing = {0: "", 1: ": 1 piece is missing"}.get(left, f": {left} pieces are missing")
    reason = Field("reason", "Where it was looked for")
    back = pack.state == PackState.RETURNED
    not_back = "" if back else f"Cannot close the count of {pack.code}: it is {pack.state}, must be returned."
    why = not_back or no_right(Right.RECEIVE, by)
    return Button("close", f"Close the count{missing}", "flag", (reason,), why_not=why)


def _ask_barrier(view: View) -> dict[str, Any]:
    pack = Pack.objects.get(code=view.held["unopened"])
    why = why_not_now(PACK_MOVES["put_back"], pack.code, pack.state, view.by)
    return {
        "carried": (Item("Unopened", f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code)),),
        "asks": f"Is the barrier of {pack.code} dry, whole and sealed?",
        "points": ("If it is, scan the pack again: it goes back to the shelf.",),
        "buttons": (Button("not-intact", "Not intact: count it as used", "x", why_not=why),),
    }


def _ask_single_use(view: View) -> dict[str, Any]:
    piece = Piece.objects.select_related("part").get(code=view.held["piece"])
    buttons = [Button("discard", "Discard it", "x", (Field("reason", "Reason", required=True),))]
    if piece.part.kind == PartKind.IMPLANT:
        why = why_not_now(PIECE_MOVES["implant"], piece.code, piece.state, view.by)
        buttons.insert(0, Button("implanted", "Implanted in this case", "check", main=True, why_not=why))
    if piece.part.reprocess_unused:
        buttons.append(Button("unused", "Unused: count it", "undo-2"))
    return {"asks": f"What became of {piece.part.name} {piece.code}?", "buttons": tuple(buttons)}
