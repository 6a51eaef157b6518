"""The verbs of the return: a pack comes back, each piece is counted, and whatever has not come back is named."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from instruments.models import PartKind, Piece
from instruments.writer import lock_piece, move_piece
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, look, stop
from journal.roles import Right
from lists.models import Case, CaseLine, Issue
from lists.reads import TO_COUNT, dropped, still_to_count
from lists.writer import lock_case, open_issue
from trays.models import Carried, Pack, PackLine
from trays.states import PackState
from trays.writer import carried_pieces, lock_pack, move_pack


@action
def take_back(pack: str, *, act: Act) -> Done:
    """An opened pack comes back from its case; its pieces are to be counted."""
    row = lock_pack(pack)
    out = open_issue(row, "take back")
    move_pack(row, "take_back", act, evidence={"case": out.case.code})
    out.returned_at = act.at
    out.save(update_fields=["returned_at"])
    write_line(CaseLine, out.case, "take_back", act, evidence={"pack": row.code})
    sentence, findings = _so_far(row, out, act)
    said = f"{row.name} {row.code} is back from case {out.case.code}. {sentence}"
    return Done.of("take_back", row, said, "Count its pieces." if _left(findings) else "", findings)


def _left(findings: tuple[Finding, ...]) -> bool:
    """Whether anything is still to be counted."""
    return any(finding.slug == TO_COUNT for finding in findings)


def _so_far(pack: Pack, out: Issue, act: Act) -> tuple[str, tuple[Finding, ...]]:
    """How far the count of a pack is; when nothing of a returned pack is left to count, the count is closed.

    What was dropped in the case is not waited for: the set is short of it by record, and it is counted when it comes.
    """
    findings = still_to_count(pack)
    if findings:
        left, expected = (findings[0].numbers[name] for name in ("left", "expected"))
        return f"{left} of {expected} pieces are still to be counted.", findings
    if out.ended:
        return "The count of its pack was closed without it.", ()
    if pack.state == PackState.RETURNED:
        _end(out, act, missing=[])
        short = tuple(_short_of(out))
        return f"The count is closed: nothing is missing{', and it is short by record' if short else ''}.", short
    return "All its pieces are counted; the pack itself is still open.", ()


def _short_of(out: Issue) -> Iterator[Finding]:
    """Pieces that were dropped or failed in the case and have not come back: known, and not missing."""
    for row in dropped(out.pack):
        sentence = f"{row.piece.part.name} {row.piece.code} was dropped or failed in case {out.case.code}."
        yield look("piece-dropped", row.piece.code, sentence, "It comes by itself: scan it when it does.")


def _end(out: Issue, act: Act, *, missing: list[str]) -> None:
    out.count_closed_at, out.ended = act.at, True
    out.save(update_fields=["count_closed_at", "ended"])
    write_line(PackLine, out.pack, "close_count", act, evidence={"case": out.case.code, "missing": missing})
    write_line(CaseLine, out.case, "close_count", act, evidence={"pack": out.pack.code, "missing": missing})


def lock_out(piece: str, verb: str) -> tuple[Pack, Issue, Piece]:
    """A piece that is out with a pack, and that pack with its issue; locked pack first.

    Raises:
        Refused: the piece is in no pack, or its pack is with no case.
    """
    code = Carried.objects.filter(piece__code=piece).values_list("pack__code", flat=True).first()
    if code is None:
        row = lock_piece(piece)
        found = f"it is {row.state} and in no pack, must be in use."
        raise Refused(stop("not-in-use", row.code, f"Cannot {verb} {row.code}: {found}", "Nothing was changed."))
    pack = lock_pack(code)
    return pack, _last_issue(pack, piece, verb), lock_piece(piece)


def _last_issue(pack: Pack, piece: str, verb: str) -> Issue:
    """The issue of a pack that is out; of a piece that was dropped in the case also one whose count is closed."""
    if not dropped(pack).filter(piece__code=piece).exists():
        return open_issue(pack, f"{verb} a piece of")
    return Issue.objects.select_related("case", "pack").filter(pack=pack).latest("id")


def _leave(piece: Piece, name: str, pack: Pack, case: Case, act: Act, **more: Any) -> None:
    """A piece leaves the pack it was used from."""
    evidence = {"pack": pack.code, "case": case.code, **more.pop("evidence", {})}
    move_piece(piece, name, act, evidence=evidence, **more)
    Carried.objects.filter(piece=piece).delete()


@action
def count_piece(piece: str, *, unused: bool = False, act: Act) -> Done:
    """Count a piece that has come back; the last one closes the count of its pack.

    `unused`: a single-use item that did not touch the patient, which its maker permits to reprocess.
    """
    pack, out, row = lock_out(piece, "count")
    unused = unused or out.opened_at is None
    facts = _single_use_facts(row, unused=unused)
    _leave(row, "take_back", pack, out.case, act, facts=facts, evidence={"unused": unused})
    return _counted("count_piece", row, pack, out, act, "counted")


def _single_use_facts(piece: Piece, *, unused: bool) -> Iterator[Finding]:
    """Never 9: a single-use item does not come back, save an unused one whose maker permits it."""
    part = piece.part
    if not part.single_use or (unused and part.reprocess_unused):
        return
    what = "an implant" if part.kind == PartKind.IMPLANT else "single use"
    found = f"it is {what} and was opened, must not be used again."
    wasted = "Record it as implanted, or discard it as wasted." if part.kind == PartKind.IMPLANT else "Discard it."
    yield stop("single-use", piece.code, f"Cannot count {piece.code} ({part.name}): {found}", wasted)


def _counted(verb: str, piece: Piece, pack: Pack, out: Issue, act: Act, word: str, *looks: Finding) -> Done:
    sentence, findings = _so_far(pack, out, act)
    said = f"{piece.part.name} {piece.code} {word}. {sentence}"
    return Done.of(verb, piece, said, "" if _left(findings) else "Bring them to be washed.", (*looks, *findings))


@action
def discard_piece(piece: str, *, reason: str, act: Act) -> Done:
    """Discard a single-use item, or an implant that was opened and not implanted, by record."""
    pack, out, row = lock_out(piece, "discard")
    reason = reason_given(reason, "discard", row.code)
    facts = []
    if not row.part.single_use:
        found = "it may be reprocessed, must be single use."
        facts = [stop("reusable", row.code, f"Cannot discard {row.code}: {found}", "Count it; withdraw it if broken.")]
    _leave(row, "discard", pack, out.case, act, facts=facts, reason=reason)
    if row.part.kind == PartKind.IMPLANT:
        write_line(CaseLine, out.case, "waste_implant", act, reason=reason, evidence=_identity(row))
    return _counted("discard_piece", row, pack, out, act, "discarded")


def _identity(piece: Piece) -> dict[str, str]:
    """What names an implant for good."""
    return {
        "piece": piece.code,
        "part": piece.part.code,
        "name": piece.part.name,
        "lot": piece.lot,
        "serial": piece.serial,
        "expires": piece.expires.isoformat() if piece.expires else "",
    }


@action
def implant_piece(piece: str, case: str, *, act: Act) -> Done:
    """An implant stays in the patient: it leaves the stock, its lot and serial number stand on the case."""
    served = lock_case(case)
    pack, out, row = lock_out(piece, "implant")
    _leave(row, "implant", pack, served, act, facts=_implant_facts(row, out, served))
    write_line(CaseLine, served, "implant", act, evidence=_identity(row))
    looks = []
    if not (row.lot or row.serial):
        sentence = f"The lot and serial number of {row.code} are not recorded."
        looks = [look("lot-missing", row.code, sentence, "Enter them from its label today.")]
    return _counted("implant_piece", row, pack, out, act, f"implanted in case {served.code}", *looks)


def _implant_facts(piece: Piece, out: Issue, case: Case) -> Iterator[Finding]:
    if piece.part.kind != PartKind.IMPLANT:
        found = f"it is a {piece.part.kind}, must be an implant."
        yield stop("not-an-implant", piece.code, f"Cannot implant {piece.code}: {found}", "Count it.")
    if out.case_id != case.pk:
        found = f"its pack was issued to case {out.case.code}, must be this case's own."
        yield stop("other-case", piece.code, f"Cannot implant {piece.code} in case {case.code}: {found}")


@action
def close_count(pack: str, *, reason: str = "", act: Act) -> Done:
    """End the count of a returned pack: whatever has not been counted is missing, piece by piece."""
    row = lock_pack(pack)
    out = open_issue(row, "close the count of")
    need(Right.RECEIVE, "close the count of", row.code, act)
    if row.state != PackState.RETURNED:
        found = f"it is {row.state}, must be returned."
        raise Refused(
            stop("wrong-state", row.code, f"Cannot close the count of {row.code}: {found}", "Take it back first.")
        )
    short = tuple(_short_of(out))
    known = {finding.subject for finding in short}
    gone = [piece for piece in carried_pieces(row) if piece.code not in known]
    for piece in gone:
        _leave(piece, "not_come_back", row, out.case, act, reason=reason, follows=True)
    _end(out, act, missing=[piece.code for piece in gone])
    findings = [
        look(
            "piece-missing",
            piece.code,
            f"{piece.part.name} {piece.code} has not come back from case {out.case.code}.",
            "Look in the theatre, the linen and the waste; tell the operator.",
        )
        for piece in gone
    ]
    words = f"{len(gone)} missing: {', '.join(piece.code for piece in gone)}." if gone else "nothing is missing."
    return Done.of("close_count", row, f"The count of {row.code} is closed: {words}", findings=[*findings, *short])
