"""An emergency that is on no list: its case is made on the fly, with the set that is handed to it."""

from __future__ import annotations

from django.utils import timezone

from journal.actions import Act, Done, action, need, tell, write_line
from journal.findings import Finding, look
from journal.reads import policy
from journal.roles import Right
from lists.actions.planning import by_code, list_of, new_code
from lists.actions.theatre import hand_over
from lists.models import Allocation, Case, CaseLine, Procedure, Requirement, StandingSet, Theatre
from lists.reads import emergencies
from lists.states import CaseState
from trays.models import Pack
from trays.writer import lock_pack

PROCEDURE = ("EMERGENCY", "Emergency, not listed")
REASON = "emergency"


@action
def issue_emergency(pack: str, theatre: str, *, barrier_intact: bool, act: Act) -> Done:
    """Hand a sterile pack to an emergency in a theatre: its case is made here, with a code of its own.

    A pack that is to serve a listed case may be taken, too; that case is named, to find another for it. The
    coordinators are told until the case is over.
    """
    need(Right.ISSUE, "issue", pack, act)
    room = by_code("theatre", Theatre, theatre)
    row = lock_pack(pack)
    case = _made(room, act)
    asked = _wants(case, row)
    done = hand_over(row, case, barrier_intact=barrier_intact, reason=REASON, act=act)
    chosen = {"tray": row.tray} if row.tray else {"pack": row}
    Allocation.objects.create(requirement=asked, **chosen)
    standing = tuple(_not_standing(row))
    tell("emergency", emergencies(), at=act.at)
    sentence = f"{row.name} {row.code} is issued to emergency case {case.code} in {room.name}."
    findings = (*(finding.as_dict() for finding in standing), *done.findings)
    step = f"Open it for case {case.code}. Its list is to be looked at again: the coordinators are told."
    return Done("issue_emergency", "case", case.pk, case.code, case.state, sentence, step, findings)


def _made(room: Theatre, act: Act) -> Case:
    code = new_code()
    procedure, _ = Procedure.objects.get_or_create(code=PROCEDURE[0], defaults={"name": PROCEDURE[1]})
    reference = f"{PROCEDURE[0]}-{timezone.localtime(act.at):%Y%m%d}-{code}"
    case = Case.objects.create(
        code=code,
        reference=reference,
        list=list_of(room, act.at),
        procedure=procedure,
        starts_at=act.at,
        duration_min=max(1, int(policy("emergency_min"))),
        emergency=True,
    )
    evidence = {"reference": reference, "emergency": True}
    write_line(CaseLine, case, "plan", act, target=CaseState.PLANNED, reason=REASON, evidence=evidence)
    return case


def _wants(case: Case, pack: Pack) -> Requirement:
    """What was taken is what it needs, so that the day judges it like any other case."""
    if pack.tray is not None:
        return Requirement.objects.create(case=case, template_id=pack.tray.template_id, source=REASON)
    part = pack.contents.select_related("piece").order_by("id")[0].piece.part_id
    return Requirement.objects.create(case=case, part_id=part, source=REASON)


def _not_standing(pack: Pack) -> tuple[Finding, ...]:
    if pack.tray is not None and StandingSet.objects.filter(template=pack.tray.template_id).exists():
        return ()
    sentence = f"{pack.name} {pack.code} is no standing set."
    return (look("not-standing", pack.code, sentence, "Look whether it is the set for an emergency."),)
