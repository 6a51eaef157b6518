"""An emergency at the theatre: the theatre, the set, the set again; the case is made on the fly."""

from __future__ import annotations

from dataclasses import replace

from config.station.answers import Answer, Press, Result, Scan, did, need_kind, scanned_again, stop
from config.station.barrier import ask_barrier, look_at_barrier
from config.station.resolve import page_of
from config.station.screen import Item, Shown, View, cut
from config.station.storing import pack_of
from instruments.identity import Kind
from journal.actions import Act
from lists.actions import issue_emergency
from lists.models import StandingSet, Theatre
from trays.actions import quarantine_pack
from trays.models import Pack
from trays.states import PackState


def take(scan: Scan) -> Answer:
    """The mark of the theatre, then the set: shown with what to look at, and issued when it is scanned again."""
    need_kind(scan.thing, (Kind.PLACE, Kind.PACK, Kind.TRAY))
    if scan.thing.kind is Kind.PLACE:
        return _theatre(scan)
    pack = pack_of(scan.thing, "issue")
    if "theatre" not in scan.held:
        sentence = f"Cannot issue {pack.code} to an emergency: no theatre is chosen here, one must be."
        raise stop("no-theatre", pack.code, sentence, "Scan the mark of the theatre first.")
    scan = replace(scan, thing=replace(scan.thing, code=pack.code))
    if scanned_again(scan, "pack"):
        return _issued(pack.code, scan.held["theatre"], scan.act)
    return look_at_barrier(pack, scan)


def _theatre(scan: Scan) -> Answer:
    room = Theatre.objects.filter(code=scan.thing.code).first()
    if room is None:
        sentence = f"Cannot begin an emergency in {scan.thing.name}: it is no theatre, must be one."
        raise stop("not-a-theatre", scan.thing.code, sentence, "Scan the mark of a theatre.")
    held = {"theatre": room.code}
    return Answer(Result.TAKEN, f"Emergency in {room.name}.", "Scan the set.", room.code, held=held)


def _issued(pack: str, theatre: str, act: Act) -> Answer:
    done = issue_emergency(pack, theatre, barrier_intact=True, act=act)
    return did(done, held={})


def _issue(press: Press) -> Answer:
    return _issued(press.carried("pack"), press.carried("theatre"), press.act)


def _damaged(press: Press) -> Answer:
    done = quarantine_pack(press.carried("pack"), reason="barrier not intact at issue", act=press.act)
    return did(done, held={"theatre": press.carried("theatre")}, next_step="Take another set.")


PRESSES = {"issue": _issue, "damaged": _damaged}


def show(view: View) -> Shown:
    """The standing sets that are sterile and in date, with their places."""
    standing = StandingSet.objects.values("template")
    rows = Pack.objects.filter(state=PackState.STERILE, tray__template__in=standing, use_by__gte=view.at)
    items, more = cut(
        Item(str(pack.place or "no place"), f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code))
        for pack in rows.select_related("place").order_by("use_by", "code")
    )
    room = Theatre.objects.filter(code=view.held.get("theatre", "")).first()
    carried = (Item("theatre", f"Emergency in {room.name}", ""),) if room else ()
    shown_now = Shown("Standing sets on the shelf", items, more, none="No standing set is sterile.", carried=carried)
    return replace(shown_now, **ask_barrier(view, to="emergency")) if "pack" in view.held else shown_now
