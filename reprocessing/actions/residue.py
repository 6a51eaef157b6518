"""Checks of residual protein on cleaned pieces: what fails goes back before the washer."""

from __future__ import annotations

from instruments.models import PieceLine
from instruments.states import PieceState
from instruments.writer import lock_piece, move_piece
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Refused, look, stop
from journal.reads import policy
from journal.roles import Right
from reprocessing.models import Load, ProteinCheck
from reprocessing.periodic import Within, judged
from reprocessing.reads.residue import last_wash
from reprocessing.rules import wrong_state

CHECKED = (PieceState.CLEANED, PieceState.INSPECTED)


@action
def check_protein(
    piece: str, method: str, *, ug_per_side: float | None = None, passed: bool | None = None, note: str = "", act: Act
) -> Done:
    """Record what a check of residual protein found on a cleaned piece; a failing piece goes back before the washer.

    A mass on a side is judged by the unit's limit; a method without figures says passed or failed.
    """
    row = lock_piece(piece)
    need(Right.INSPECT, "check the protein on", row.code, act)
    facts = list(wrong_state("check the protein on", row.code, row.state, *CHECKED))
    if not method.strip():
        sentence = f"Cannot check the protein on {row.code}: the method is not stated, must be."
        facts.append(stop("method-missing", row.code, sentence, "Name the test that was used."))
    if ug_per_side is not None and ug_per_side < 0:
        sentence = f"Cannot check the protein on {row.code}: it is {ug_per_side:g} µg a side, must be 0 or more."
        facts.append(stop("no-mass", row.code, sentence, "Look at the result again."))
    limit_ug = float(policy("protein_limit_ug"))
    within = Within("µg a side", most=limit_ug) if ug_per_side is not None else None
    try:
        result = judged(within, ug_per_side, passed=passed)
    except ValueError as wrong:
        sentence = f"Cannot check the protein on {row.code}: {wrong}."
        facts.append(stop("no-result", row.code, sentence, "Look at the result again."))
    if facts:
        raise Refused(*facts)
    load = last_wash(row, act.at)
    check = ProteinCheck.objects.create(
        piece=row,
        load=load,
        method=method.strip(),
        ug_per_side=ug_per_side,
        limit_ug=limit_ug if within else None,
        passed=result,
        note=note.strip(),
        at=act.at,
        by=act.by,
    )
    evidence = {"protein_check": check.pk, "method": check.method, "found": check.words, "passed": result}
    evidence["load"] = load.code if load else ""
    write_line(PieceLine, row, "check_protein", act, reason=check.note, evidence=evidence)
    if result:
        return Done.of("check_protein", row, f"Residual protein on {row.code}: {check.words}; passed.")
    move_piece(row, "find_soiled", act, reason=f"residual protein: {check.words}", evidence=evidence)
    return _failed(check, load)


def _failed(check: ProteinCheck, load: Load | None) -> Done:
    row = check.piece
    washed = f"It was washed in {load.code} on {load.machine}." if load else "Its wash is not recorded."
    found = look(
        "protein-left",
        row.code,
        f"Residual protein on {row.code} failed: {check.words}. {washed}",
        "Look at what else that load held, and raise a non-conformity.",
    )
    return Done.of("check_protein", row, f"{row.code} goes back before the washer.", "Wash it again.", (found,))
