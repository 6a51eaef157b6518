"""The one writer of a case's state, and the locks that the verbs of lists take: case, then pack, then pieces."""

from __future__ import annotations

from typing import Any

from journal.actions import Act, move
from journal.findings import Finding, Refused, Severity, unknown
from lists.models import Case, CaseLine, Issue
from lists.states import CASE_MOVES
from trays.models import Pack


def lock_case(code: str) -> Case:
    """The case of this code, locked.

    Raises:
        Refused: no case has it.
    """
    rows = Case.objects.select_for_update(of=("self",), no_key=True).select_related("list__theatre", "procedure")
    case: Case | None = rows.filter(code=code.strip().upper()).first()
    if case is None:
        raise Refused(unknown("case", code))
    return case


def move_case_state(
    case: Case, name: str, act: Act, *, reason: str = "", evidence: dict[str, Any] | None = None, follows: bool = False
) -> None:
    """Move a locked case along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(case, CASE_MOVES[name], CaseLine, act, reason=reason, evidence=evidence, follows=follows)


def open_issue(pack: Pack, verb: str) -> Issue:
    """The issue of a locked pack that has not ended.

    Raises:
        Refused: the pack is with no case, or its count is closed.
    """
    issue = Issue.objects.select_related("case", "pack").filter(pack=pack).order_by("-id").first()
    if issue is not None and not issue.ended:
        issue.pack = pack
        return issue
    found = "its count is closed" if issue is not None and issue.count_closed_at else f"it is {pack.state}"
    sentence = f"Cannot {verb} {pack.code}: {found}, it must be with a case."
    raise Refused(Finding("not-with-a-case", Severity.STOP, pack.code, sentence, "Scan the pack that the case had."))
