"""Work at the theatre: packs are handed to a case and opened for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from django.utils import timezone

from config.station import dropping
from config.station.answers import (
    Answer,
    Held,
    Press,
    Result,
    Scan,
    did,
    need_kind,
    question,
    refused,
    scanned_again,
    stop,
)
from config.station.barrier import ask_barrier, look_at_barrier
from config.station.queues import issued_packs, open_cases, requirements_left
from config.station.resolve import page_of
from config.station.returning import implanted
from config.station.screen import Button, Field, Item, Shown, View, cut, why_not_now
from config.station.storing import pack_of
from config.templatetags.words import moment
from instruments.identity import Kind
from instruments.models import PartKind, Piece
from instruments.states import PIECE_MOVES
from journal.actions import Act
from journal.findings import Refused
from journal.moves import why_not
from lists.actions import issue, open_pack
from lists.models import Case, Issue
from lists.states import OPEN_CASES
from trays.actions import quarantine_pack
from trays.models import Pack

NEEDS_REASON = "serves-another-case"


def _take_case(scan: Scan, verb: str, step: str) -> Answer:
    case: Case = scan.thing.row
    if case.state not in OPEN_CASES:
        sentence = f"Cannot {verb} for case {case.code}: it is {case.state}, must be planned or under way."
        raise stop("case-not-open", case.code, sentence, "Scan the case that it is for.")
    return Answer(Result.TAKEN, f"{_case_words(case)}.", step, case.code, held={"case": case.code})


def _case_words(case: Case) -> str:
    return f"Case {case.code}, {case.list.theatre}, {moment(case.starts_at)}, {case.procedure}"


def _start(case: Case, at: datetime) -> str:
    starts = timezone.localtime(case.starts_at)
    return f"{'today' if starts.date() == timezone.localdate(at) else 'tomorrow'} {starts:%H:%M}"


def _carried_case(code: str) -> Item:
    case = Case.objects.select_related("list__theatre", "procedure").get(code=code)
    return Item(case.state, _case_words(case), page_of(Kind.CASE, code))


def take_for_issue(scan: Scan) -> Answer:
    """A case, then each of its packs: shown with what to look at, and issued when it is scanned again."""
    need_kind(scan.thing, (Kind.CASE, Kind.PACK, Kind.TRAY))
    if scan.thing.kind is Kind.CASE:
        return _take_case(scan, "issue", "Scan each of its packs.")
    pack = pack_of(scan.thing, "issue")
    if "case" not in scan.held:
        sentence = f"Cannot issue {pack.code}: no case is chosen here, one must be."
        raise stop("no-case", pack.code, sentence, "Scan the case first.")
    scan = replace(scan, thing=replace(scan.thing, code=pack.code))
    if scanned_again(scan, "pack"):
        return _issued(scan.held, "", scan.act)
    return look_at_barrier(pack, scan, "reason")


def _issued(held: Held, reason: str, act: Act) -> Answer:
    """The pack goes to the case; where a reason is wanted for that, the station asks for it."""
    try:
        done = issue(held["pack"], held["case"], barrier_intact=True, reason=reason, act=act)
    except Refused as refusal:
        if refusal.code != NEEDS_REASON:
            raise
        return replace(refused(refusal, held["pack"]), held={**held, "reason": "wanted"})
    return did(done, held={"case": held["case"]})


def _issue(press: Press) -> Answer:
    held = {**press.held, "pack": press.carried("pack"), "case": press.carried("case")}
    return _issued(held, press.fields.get("reason", ""), press.act)


def _damaged(press: Press) -> Answer:
    done = quarantine_pack(press.carried("pack"), reason="barrier not intact at issue", act=press.act)
    return did(done, held={"case": press.carried("case")}, next_step="Take another pack for the case.")


ISSUE_PRESSES = {"issue": _issue, "damaged": _damaged}


def show_for_issue(view: View) -> Shown:
    """What the case still needs; without a case, the cases to come."""
    if "case" not in view.held:
        items, more = cut(
            Item(
                _start(case, view.at),
                f"Case {case.code}, {case.list.theatre}, {case.procedure}",
                page_of(Kind.CASE, case.code),
            )
            for case in open_cases(view.at)
        )
        return Shown("Cases of today and tomorrow", items, more, none="No case is planned.")
    items, more = cut(
        Item("To issue", f"{row}, allocated: {row.allocation.chosen}" if hasattr(row, "allocation") else str(row))
        for row in requirements_left(view.held["case"])
    )
    carried = (_carried_case(view.held["case"]),)
    shown_now = Shown("Not issued yet", items, more, none="Everything is issued.", carried=carried)
    if "pack" not in view.held:
        return shown_now
    fields = (Field("reason", "Why this pack", required=True),) if "reason" in view.held else ()
    return replace(shown_now, **ask_barrier(view, to="case", fields=fields))


def take_for_opening(scan: Scan) -> Answer:
    """A pack is opened for the case that has it; an implant in use is shown, to say that it was implanted."""
    need_kind(scan.thing, (Kind.PACK, Kind.TRAY, Kind.CASE, Kind.PIECE))
    if scan.thing.kind is Kind.CASE:
        return _take_case(scan, "open", "Scan each pack that is opened.")
    if scan.thing.kind is Kind.PIECE:
        return _implant(scan) if scan.thing.row.part.kind == PartKind.IMPLANT else dropping.take_piece(scan)
    pack = pack_of(scan.thing, "open")
    if dropping.takes_its_place(scan, pack):
        return dropping.take_in_its_place(scan, pack)
    case = scan.held.get("case") or _case_of(pack)
    return did(open_pack(pack.code, case, act=scan.act), held={"case": case})


def _case_of(pack: Pack) -> str:
    """Code of the case that has a pack.

    Raises:
        Refused: no case has it.
    """
    out = Issue.objects.filter(pack=pack, ended=False).select_related("case").last()
    if out is None:
        sentence = f"Cannot open {pack.code}: it is {pack.state}, must be issued to a case."
        raise stop("not-with-a-case", pack.code, sentence, "Issue it to the case first.")
    return str(out.case.code)


def _implant(scan: Scan) -> Answer:
    piece: Piece = scan.thing.row
    row = PIECE_MOVES["implant"]
    findings = why_not(row, subject=piece.code, state=piece.state, rights=scan.act.by.rights)
    if findings:
        raise Refused(*findings)
    step = "Press below when it is implanted. If it is not, discard it at the return."
    held = {**scan.held, "piece": piece.code}
    return question(f"{scan.thing.words} is open.", step, piece.code, held)


OPENING_PRESSES = {"implanted": implanted, **dropping.PRESSES}


def show_for_opening(view: View) -> Shown:
    """Packs that are with a case and not opened."""
    case = view.held.get("case", "")
    items, more = cut(
        Item(
            row.pack.state, f"{row.pack.name} {row.pack.code}, case {row.case.code}", page_of(Kind.PACK, row.pack.code)
        )
        for row in issued_packs(case)
    )
    place = view.held.get("replaces")
    carried = (
        *((_carried_case(case),) if case else ()),
        *((Item("In its place", f"a single pack for {place}"),) if place else ()),
    )
    shown_now = Shown("Issued and not opened", items, more, none="Every issued pack is open.", carried=carried)
    piece = Piece.objects.select_related("part").filter(code=view.held.get("piece", "")).first()
    if piece is None or piece.part.kind != PartKind.IMPLANT:
        return replace(shown_now, **dropping.ask(view))
    why = why_not_now(PIECE_MOVES["implant"], piece.code, piece.state, view.by)
    button = Button("implanted", "Implanted in this case", "check", main=True, why_not=why)
    asks = f"Was {piece.part.name} {piece.code} implanted?"
    points = tuple(
        f"{name} {value}." for name, value in (("Lot", piece.lot), ("Serial number", piece.serial)) if value
    )
    return replace(shown_now, asks=asks, points=points, buttons=(button,))
