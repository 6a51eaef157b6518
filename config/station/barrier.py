"""The look at a pack's barrier before it is handed out; whatever else speaks against that is said first."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from config.station.answers import Answer, Scan, question, shown
from config.station.screen import Button, Field, View, why_not_now
from config.templatetags.words import moment
from journal.findings import Refused, Severity, stops
from journal.moves import why_not
from journal.reads import policy
from lists.issuing import against_issue
from lists.reads import pack_facts
from trays.models import Pack
from trays.states import PACK_MOVES


def look_at_barrier(pack: Pack, scan: Scan, *fields: str) -> Answer:
    """Ask for a look at the barrier, so that nobody looks in vain; `fields` are what else the answer may fill in.

    Raises:
        Refused: something speaks against issuing the pack even if its barrier is intact.
    """
    findings = (
        *why_not(PACK_MOVES["issue"], subject=pack.code, state=pack.state, rights=scan.act.by.rights),
        *against_issue(
            pack_facts(pack),
            barrier_intact=True,
            case=scan.held.get("case", ""),
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
    return question(what, step, pack.code, shown(scan, "pack", *fields), also=looks)


def ask_barrier(view: View, *, to: str, fields: tuple[Field, ...] = ()) -> dict[str, Any]:
    """What the screen shows of the pack that is looked at: `to` says to what it would be issued."""
    pack = Pack.objects.prefetch_related("lacks").get(code=view.held["pack"])
    points = [f"Use by {moment(pack.use_by)}.", f"If it is, scan the pack again: it is issued to the {to}."]
    points += [f"It went out without {lack}." for lack in pack.lacks.all()]
    issuing = why_not_now(PACK_MOVES["issue"], pack.code, pack.state, view.by)
    holding = why_not_now(PACK_MOVES["quarantine"], pack.code, pack.state, view.by)
    return {
        "asks": f"Is the barrier of {pack.code} dry, whole and sealed?",
        "points": tuple(points),
        "buttons": (
            Button("issue", "Intact: issue it", "check", fields, main=True, why_not=issuing),
            Button("damaged", "Not intact: quarantine it", "lock", why_not=holding),
        ),
    }
