"""An emergency at the theatre: the theatre, the set, the set again; the case is made on the fly."""

from __future__ import annotations

from dataclasses import replace

from django.utils import timezone

from config.station.answers import Answer, Press, Result, Scan, did, need_kind, question, scanned_again, shown, stop
from config.station.resolve import page_of
from config.station.screen import Button, Item, Shown, View, cut, why_not_now
from config.station.storing import pack_of
from config.templatetags.words import moment
from instruments.identity import Kind
from journal.actions import Act
from journal.findings import Refused, Severity, stops
from journal.moves import why_not
from journal.reads import policy
from lists.actions import issue_emergency
from lists.issuing import against_issue
from lists.models import StandingSet, Theatre
from lists.reads import pack_facts
from trays.actions import quarantine_pack
from trays.models import Pack
from trays.states import PACK_MOVES, PackState


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
    findings = (
        *why_not(PACK_MOVES["issue"], subject=pack.code, state=pack.state, rights=scan.act.by.rights),
        *against_issue(
            pack_facts(pack),
            barrier_intact=True,
            case="",
            at=scan.act.at,
            today=timezone.localdate(scan.act.at),
            immediate_min=int(policy("immediate_use_min")),
        ),
    )
    if against := stops(findings):
        raise Refused(*against)
    looks = tuple(finding.words for finding in findings if finding.severity is Severity.LOOK)
    step = "Dry, whole and sealed: scan it again. If not, say so below."
    what = f"{pack.name} {pack.code}: look at its barrier."
    return question(what, step, pack.code, shown(scan, "pack"), also=looks)


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
    if "pack" not in view.held:
        return shown_now
    pack = Pack.objects.get(code=view.held["pack"])
    issuing = why_not_now(PACK_MOVES["issue"], pack.code, pack.state, view.by)
    holding = why_not_now(PACK_MOVES["quarantine"], pack.code, pack.state, view.by)
    return replace(
        shown_now,
        asks=f"Is the barrier of {pack.code} dry, whole and sealed?",
        points=(f"Use by {moment(pack.use_by)}.", "If it is, scan it again: it is issued to the emergency."),
        buttons=(
            Button("issue", "Intact: issue it", "check", main=True, why_not=issuing),
            Button("damaged", "Not intact: quarantine it", "lock", why_not=holding),
        ),
    )
