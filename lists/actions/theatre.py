"""The verbs of the theatre: a pack is issued to a case, opened, or put back unopened; the case ends."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Q
from django.utils import timezone

from instruments.writer import move_piece
from journal.actions import Act, Done, action, write_line
from journal.findings import Finding, Severity, look, stop
from journal.reads import policy
from lists.issuing import against_issue, against_opening, why_not_shelf
from lists.models import Allocation, Case, CaseLine, Issue, Requirement
from lists.reads import pack_facts, still_to_count
from lists.states import OPEN_CASES, CaseState
from lists.writer import lock_case, move_case_state, open_issue
from trays.models import Content, Pack, PackLine
from trays.states import PackKind, PackState
from trays.writer import carried_pieces, lock_pack, move_pack


@action
def issue(pack: str, case: str, *, barrier_intact: bool, reason: str = "", act: Act) -> Done:
    """Hand a sterile pack to a case; `barrier_intact` is what the eye sees now.

    A pack that is to serve another case needs a reason.
    """
    served, row = lock_case(case), lock_pack(pack)
    return hand_over(row, served, barrier_intact=barrier_intact, reason=reason, act=act)


def hand_over(row: Pack, served: Case, *, barrier_intact: bool, reason: str, act: Act) -> Done:
    """Issue a locked pack to a locked case.

    Raises:
        Refused: something stands against it; nothing is written.
    """
    findings = (
        *_case_facts(served, "issue", row),
        *against_issue(
            pack_facts(row),
            barrier_intact=barrier_intact,
            case=served.code,
            at=act.at,
            today=timezone.localdate(act.at),
            immediate_min=int(policy("immediate_use_min")),
        ),
        *_immediate_facts(row, served),
        *_claims(row, served, reason, act),
        *_unasked(row, served),
    )
    evidence = {"case": served.code, "barrier_intact": barrier_intact}
    move_pack(row, "issue", act, facts=findings, reason=reason, evidence=evidence, barrier_intact=True, place=None)
    Issue.objects.create(case=served, pack=row, issued_at=act.at, issued_by=act.by)
    write_line(CaseLine, served, "issue", act, reason=reason, evidence={"pack": row.code})
    looks = [finding for finding in findings if finding.severity != Severity.STOP]
    sentence = f"{row.name} {row.code} is issued to case {served.code}."
    return Done.of("issue", row, sentence, "Open it for the case, or put it back unopened.", looks)


def _case_facts(case: Case, verb: str, pack: Pack) -> Iterator[Finding]:
    if case.state not in OPEN_CASES:
        found = f"case {case.code} is {case.state}, must be planned or under way."
        yield stop("case-not-open", pack.code, f"Cannot {verb} {pack.code}: {found}", "Scan the case that it is for.")


def _immediate_facts(pack: Pack, case: Case) -> Iterator[Finding]:
    """An immediate-use item serves the patient that it was made for."""
    if pack.kind != PackKind.IMMEDIATE:
        return
    made_for = PackLine.objects.filter(pack=pack, verb="assemble").values_list("evidence__patient_ref", flat=True)
    if case.patient_ref not in made_for:
        found = f"it was made for the patient of another case than {case.code}, must be for the same one."
        remedy = "Scan the case that it was made for, or correct the patient reference of this one."
        yield stop("other-patient", pack.code, f"Cannot issue {pack.code}: {found}", remedy)


def _claims(pack: Pack, case: Case, reason: str, act: Act) -> Iterator[Finding]:
    """Cases of today and later that are to get this pack first: a stop without a reason, a look with one."""
    wanted = Q(pack=pack) | Q(tray__isnull=False, tray=pack.tray_id)
    rows = Allocation.objects.filter(
        wanted,
        requirement__case__state=CaseState.PLANNED,
        requirement__case__list__day__gte=timezone.localdate(act.at),
    )
    own = rows.filter(requirement__case=case).exists()
    for allocation in rows.exclude(requirement__case=case).select_related("requirement__case"):
        other = allocation.requirement.case
        if own and other.starts_at > case.starts_at:
            continue
        if reason.strip():
            sentence = f"{pack.code} was to serve case {other.code}."
            yield look("taken-from-case", pack.code, sentence, f"Find another for {other.code}.")
        else:
            found = f"it is to serve case {other.code}, must be free or given a reason."
            yield stop(
                "serves-another-case",
                pack.code,
                f"Cannot issue {pack.code}: {found}",
                "Take another pack, or state why this one.",
            )


def _unasked(pack: Pack, case: Case) -> Iterator[Finding]:
    parts = Content.objects.filter(pack=pack).values("piece__part")
    asked = Q(part__in=parts) if pack.tray is None else Q(template=pack.tray.template_id)
    if not Requirement.objects.filter(asked, case=case).exists():
        sentence = f"{pack.name} is not among what case {case.code} was to need."
        yield look("not-asked-for", pack.code, sentence, "Check the case.")


@action
def open_pack(pack: str, case: str, *, act: Act) -> Done:
    """Open an issued pack at its case: its pieces are in use, and the case has begun."""
    served, row = lock_case(case), lock_pack(pack)
    out = open_issue(row, "open")
    findings = (
        *_case_facts(served, "open", row),
        *_same_case(row, out, served),
        *against_opening(
            pack_facts(row),
            at=act.at,
            today=timezone.localdate(act.at),
            immediate_min=int(policy("immediate_use_min")),
        ),
    )
    move_pack(row, "open", act, facts=findings, evidence={"case": served.code})
    for piece in carried_pieces(row):
        move_piece(piece, "use", act, evidence={"pack": row.code, "case": served.code}, follows=True)
    out.opened_at = act.at
    out.save(update_fields=["opened_at"])
    if served.state == CaseState.PLANNED:
        move_case_state(served, "begin", act, follows=True)
    write_line(CaseLine, served, "open", act, evidence={"pack": row.code})
    return Done.of("open_pack", row, f"{row.name} {row.code} is open for case {served.code}.")


def _same_case(pack: Pack, out: Issue, case: Case) -> Iterator[Finding]:
    if out.case_id != case.pk:
        found = f"it was issued to case {out.case.code}, must be opened for that one."
        yield stop(
            "other-case",
            pack.code,
            f"Cannot open {pack.code}: {found}",
            "Put it back, and issue it to the case that needs it.",
        )


@action
def put_back(pack: str, *, barrier_intact: bool, act: Act) -> Done:
    """An issued pack comes back unopened: to the shelf if its barrier is intact and it is in date.

    Otherwise it counts as used: it ends as an opened pack does, and its pieces are counted.
    """
    row = lock_pack(pack)
    out = open_issue(row, "put back")
    today = timezone.localdate(act.at)
    why = why_not_shelf(pack_facts(row), barrier_intact=barrier_intact, at=act.at, today=today)
    evidence = {"case": out.case.code, "barrier_intact": barrier_intact}
    if not why or row.state != PackState.ISSUED:
        move_pack(row, "put_back", act, evidence=evidence, barrier_intact=True)
        out.returned_at, out.ended = act.at, True
        out.save(update_fields=["returned_at", "ended"])
        write_line(CaseLine, out.case, "put_back", act, evidence={"pack": row.code})
        return Done.of("put_back", row, f"{row.name} {row.code} is back unopened.", "Put it on the shelf.")
    move_pack(row, "open", act, reason=why, evidence={**evidence, "unopened": True})
    move_pack(row, "take_back", act, reason=why, evidence=evidence, follows=True)
    for piece in carried_pieces(row):
        note = {"pack": row.code, "case": out.case.code, "unopened": True}
        move_piece(piece, "use", act, reason=why, evidence=note, follows=True)
    out.returned_at = act.at
    out.save(update_fields=["returned_at"])
    write_line(CaseLine, out.case, "put_back", act, reason=why, evidence={"pack": row.code, "counts_as_used": True})
    sentence = f"{row.name} {row.code} counts as used: {why}."
    return Done.of("put_back", row, sentence, "Count its pieces.", still_to_count(row))


@action
def end_case(case: str, *, act: Act) -> Done:
    """A case is over; whatever is still out for it is named."""
    row = lock_case(case)
    move_case_state(row, "end", act)
    findings = [
        look("pack-out", issue.pack.code, f"{issue.pack.name} {issue.pack.code} is still out.", "Bring it back.")
        for issue in Issue.objects.out().filter(case=row).select_related("pack")
    ]
    return Done.of("end_case", row, f"Case {row.code} is over.", "Bring its sets back.", findings)
