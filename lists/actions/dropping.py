"""A piece is dropped or fails in a case, and a single pack takes its place: both stand in the case's record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from instruments.models import PieceLine
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, stop
from journal.roles import Right
from lists.actions.counting import lock_out
from lists.actions.theatre import hand_over, open_pack
from lists.models import Case, CaseLine
from lists.reads import dropped
from lists.states import CaseState
from lists.writer import lock_case
from trays.models import Pack
from trays.states import PackState
from trays.writer import lock_pack

FELL = {"dropped": "was dropped", "failed": "failed"}
"""What can happen to a piece in use; what else is to be said of it goes into the note."""


@action
def drop_piece(piece: str, fault: str, *, note: str = "", act: Act) -> Done:
    """A piece is dropped or fails while its case is under way: its set comes back short of it by record.

    It is out until somebody counts it, with its set or by itself.
    """
    pack, out, row = lock_out(piece, "set aside")
    need(Right.ISSUE, "set aside", row.code, act)
    if findings := (*_in_use(row.code, pack, out.case), *_fault(row.code, fault)):
        raise Refused(*findings)
    evidence = {"pack": pack.code, "case": out.case.code, "fault": fault}
    write_line(PieceLine, row, "drop", act, reason=note, evidence=evidence)
    told = {"piece": row.code, "pack": pack.code, "fault": fault}
    write_line(CaseLine, out.case, "drop", act, reason=note, evidence=told)
    sentence = f"{row.part.name} {row.code} {FELL[fault]} in case {out.case.code}: {pack.name} comes back short of it."
    return Done.of(
        "drop_piece", row, sentence, "Scan the single pack that takes its place. Keep the piece for the return."
    )


def _in_use(piece: str, pack: Pack, case: Case) -> Iterator[Finding]:
    head = f"Cannot set aside {piece}:"
    if pack.state != PackState.OPENED or case.state != CaseState.UNDER_WAY:
        found = f"{head} its pack is {pack.state} and case {case.code} {case.state}, must be opened and under way."
        yield stop("not-in-the-case", piece, found, "At the return count it, and send it to repair.")
    if dropped(pack).filter(piece__code=piece).exists():
        found = f"{head} that it was dropped or failed is recorded already."
        yield stop("dropped-already", piece, found, "Scan the single pack that takes its place.")


def _fault(piece: str, fault: str) -> Iterator[Finding]:
    if fault not in FELL:
        found = f"Cannot set aside {piece}: what happened is “{fault}”, must be {' or '.join(FELL)}."
        yield stop("not-listed", piece, found)


@action
def replace_piece(piece: str, pack: str, *, barrier_intact: bool, act: Act) -> Done:
    """Hand a single pack to the case in place of a piece that was dropped or failed, and open it there."""
    line = PieceLine.objects.filter(piece__code=piece.strip().upper(), verb="drop").order_by("pk").last()
    if line is None:
        found = f"Cannot replace {piece}: it is not recorded as dropped or failed, must be."
        raise Refused(stop("not-dropped", piece, found, "Scan the piece and say what happened."))
    evidence: dict[str, str] = line.evidence
    case, row = lock_case(evidence["case"]), lock_pack(pack)
    if row.tray_id is not None:
        found = f"Cannot replace {piece}: {row.code} is a whole set, must be a single pack."
        raise Refused(stop("not-single", row.code, found, "Issue the set to the case instead."))
    inner, why = replace(act, key=""), f"in place of {piece}, which {FELL[evidence['fault']]}"
    done = hand_over(row, case, barrier_intact=barrier_intact, reason=why, act=inner)
    open_pack(row.code, case.code, act=inner)
    write_line(CaseLine, case, "replace", act, evidence={"piece": piece, "pack": row.code})
    sentence = f"{row.name} {row.code} is open for case {case.code} in place of {piece}."
    told = Done.of("replace_piece", row, sentence, "At the return scan each by itself: the piece, the set, this pack.")
    return replace(told, findings=done.findings)
