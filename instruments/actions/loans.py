"""Loans: agreed, papers on file, pieces counted in and out, closed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.utils import timezone

from instruments.actions.pieces import enter_mark
from instruments.identity import Kind
from instruments.loans import ACCOUNTED, Direction, PrionHistory, count_differs, open_count
from instruments.models import Loan, LoanLine, Part, Piece, PieceLine
from instruments.reads import lacks_certificate, may_arrive, may_go_back, members_of, wrong_loan
from instruments.states import OPEN_LOANS, LoanState, PieceState
from instruments.writer import join_loan, lock_loan, lock_piece, lock_pieces, move_loan, move_piece, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right


@action
def agree_loan(
    direction: str,
    party: str,
    due: date,
    agreed: int,
    *,
    reference: str = "",
    instructions: str = "",
    prion_history: str = PrionHistory.NOT_ASKED,
    act: Act,
) -> Done:
    """Enter a loan before its pieces move: which way, with whom, until when, and how many pieces."""
    need(Right.REPAIR, "agree", f"a loan with {party}", act)
    findings = [
        *_listed("direction", direction, list(Direction)),
        *_listed("prion history", prion_history, list(PrionHistory)),
        *_terms(party, due, agreed, act),
    ]
    if findings:
        raise Refused(*findings)
    row = Loan.objects.create(
        code=new_code(Kind.LOAN),
        direction=direction,
        party=party.strip(),
        reference=reference.strip(),
        due=due,
        agreed=agreed,
        instructions=instructions.strip(),
        prion_history=prion_history,
    )
    write_line(LoanLine, row, "agree", act, target=LoanState.AGREED, evidence={"pieces": agreed, "due": str(due)})
    way = f"from {row.party}" if direction == Direction.IN else f"to {row.party}"
    return Done.of("agree_loan", row, f"Loan {row.code} {way} is agreed.", "Count its pieces, each by a scan.")


def _listed(name: str, value: str, allowed: list[Any]) -> Iterator[Finding]:
    if value not in allowed:
        wanted = " or ".join(allowed)
        yield stop("not-listed", value, f"Cannot record the {name}: it is “{value}”, must be {wanted}.")


def _terms(party: str, due: date, agreed: int, act: Act) -> Iterator[Finding]:
    if not party.strip():
        yield stop("party-missing", "loan", "Cannot agree a loan: the other party is not recorded, it must be.")
    if due < timezone.localdate(act.at):
        yield stop("due-past", "loan", f"Cannot agree a loan: it is due on {due:%d-%b-%Y}, must be today or later.")
    if agreed < 1:
        yield stop("count-too-small", "loan", f"Cannot agree a loan: it is of {agreed} pieces, must be 1 or more.")


@action
def file_loan_papers(
    loan: str, *, instructions: str = "", prion_history: str = "", certificate: str = "", act: Act
) -> Done:
    """File what a loan needs: the maker's instructions, the answer on prion risk, the decontamination certificate."""
    row = lock_loan(loan)
    need(Right.REPAIR, "file papers of", row.code, act)
    given = {"instructions": instructions, "prion_history": prion_history, "certificate": certificate}
    filed = {name: text.strip() for name, text in given.items() if text.strip()}
    if not filed:
        raise Refused(stop("nothing-filed", row.code, f"Cannot file papers of {row.code}: none is given."))
    if unlisted := tuple(_listed("prion history", filed.get("prion_history", PrionHistory.NO_RISK), [*PrionHistory])):
        raise Refused(*unlisted)
    for name, text in filed.items():
        setattr(row, name, text)
    row.save(update_fields=list(filed))
    write_line(LoanLine, row, "file_papers", act, evidence=filed)
    risk = filed.get("prion_history") == PrionHistory.RISK
    next_step = "Keep its pieces from the washer, quarantine them, and call the quality lead." if risk else ""
    return Done.of("file_loan_papers", row, f"Papers of loan {row.code} are on file.", next_step)


@action
def extend_loan(loan: str, due: date, *, reason: str, act: Act) -> Done:
    """The parties agree on another last day."""
    row = lock_loan(loan)
    need(Right.REPAIR, "extend", row.code, act)
    reason = reason_given(reason, "extend", row.code)
    if findings := (*_open_only(row, "extend"), *_terms(row.party, due, row.agreed, act)):
        raise Refused(*findings)
    before, row.due = row.due, due
    row.save(update_fields=["due"])
    write_line(LoanLine, row, "extend", act, reason=reason, evidence={"due": str(due), "before": str(before)})
    return Done.of("extend_loan", row, f"Loan {row.code} is due on {due:%d-%b-%Y}.")


def _open_only(loan: Loan, words: str) -> Iterator[Finding]:
    if loan.state not in OPEN_LOANS:
        wanted = " or ".join(sorted(OPEN_LOANS))
        yield stop("wrong-state", loan.code, f"Cannot {words} {loan.code}: it is {loan.state}, must be {wanted}.")


# Pieces in


@action
def receive_loan_piece(
    loan: str,
    part: str,
    *,
    condition: str,
    serial: str = "",
    lot: str = "",
    mark: str = "",
    act: Act,
) -> Done:
    """A borrowed piece arrives, in this condition; it enters at returned, whatever its label says."""
    row = lock_loan(loan)
    need(Right.REPAIR, "receive a piece of", row.code, act)
    of_part = Part.objects.filter(code=part).first()
    findings = [*may_arrive(row), *(() if of_part else [unknown("part", part)])]
    if findings or of_part is None:
        raise Refused(*findings)
    condition = _condition(condition, row)
    piece = Piece.objects.create(code=new_code(Kind.PIECE), part=of_part, serial=serial.strip(), lot=lot.strip())
    join_loan(row, piece, act, condition=condition)
    write_line(PieceLine, piece, "enrol", act, target=PieceState.RETURNED, evidence={"loan": row.code})
    if mark:
        enter_mark(piece, mark)
    return _arrived("receive_loan_piece", row, piece)


@action
def receive_again(loan: str, piece: str, *, condition: str, act: Act) -> Done:
    """A piece that was given back to its lender comes with another loan; it goes on with its own record."""
    row = lock_loan(loan)
    back = lock_piece(piece)
    condition = _condition(condition, row)
    facts = [*may_arrive(row), *_was_given_back(back)]
    move_piece(back, "receive_again", act, facts=facts, evidence={"loan": row.code}, maker_sterile=False, cycles=0)
    join_loan(row, back, act, condition=condition)
    return _arrived("receive_again", row, back)


def _condition(condition: str, loan: Loan) -> str:
    """How a piece arrived must be said: a fault found later is nobody's."""
    return reason_given(condition, "receive without the condition of a piece of", loan.code)


def _arrived(verb: str, loan: Loan, piece: Piece) -> Done:
    count = f"{loan.pieces.count()} of {loan.agreed}"
    return Done.of(verb, piece, f"{piece.part.name} {piece.code} received on loan {loan.code}, {count}.", "Wash it.")


def _was_given_back(piece: Piece) -> Iterator[Finding]:
    last = piece.lines.exclude(target="").last()
    if last is None or last.verb not in ("give_back", "give_back_sealed"):
        yield stop(
            "not-given-back",
            piece.code,
            f"Cannot receive {piece.code} again: it was not given back to a lender.",
            "Look at its trail; a new piece is received with its part.",
        )


# Pieces out


@action
def lend(piece: str, loan: str, *, condition: str = "", act: Act) -> Done:
    """An own piece leaves on a loan that is agreed; a closed set lends none."""
    row = lock_loan(loan)
    own = lock_piece(piece)
    facts = [
        *wrong_loan(row, Direction.OUT, f"lend {own.code} on"),
        *lacks_certificate(row, f"lend {own.code} on"),
        *_is_own(own),
    ]
    move_piece(own, "lend", act, facts=facts, evidence={"loan": row.code})
    join_loan(row, own, act, condition=condition)
    count = f"{row.pieces.count()} of {row.agreed}"
    return Done.of("lend", own, f"{own.code} goes to {row.party} on loan {row.code}, {count}.")


def _is_own(piece: Piece) -> Iterator[Finding]:
    if piece.loan_id is not None:
        yield stop("borrowed", piece.code, f"Cannot lend {piece.code}: it is borrowed, must be the unit’s own.")
    if Piece.objects.filter(pk=piece.pk, closed_member__isnull=False).exists():
        yield stop(
            "closed-set",
            piece.code,
            f"Cannot lend {piece.code}: it belongs to a closed set, must stay with it.",
            "Lend another piece.",
        )


@action
def take_from_loan(piece: str, *, act: Act) -> Done:
    """A lent piece is back; it re-enters at returned."""
    loan = _loan_of(piece)
    row = lock_piece(piece)
    move_piece(row, "take_from_loan", act, evidence={"loan": loan.code if loan else ""}, loan=None)
    if loan:
        write_line(LoanLine, loan, "take_from_loan", act, evidence={"piece": row.code})
    return Done.of("take_from_loan", row, f"{row.code} is back from loan.", "Wash it.")


def _loan_of(piece: str) -> Loan | None:
    """The loan of a piece, locked before the piece as everywhere."""
    code = Piece.objects.filter(code=piece, loan__isnull=False).values_list("loan__code", flat=True).first()
    return lock_loan(code) if code else None


@action
def give_back(piece: str, *, act: Act) -> Done:
    """A borrowed piece goes back to its lender, cleaned since its last use and under a certificate."""
    loan = _loan_of(piece)
    row = lock_piece(piece)
    facts = [*_back_facts(row, loan)]
    move_piece(row, "give_back", act, facts=facts, evidence={"loan": loan.code if loan else ""}, loan=None)
    assert loan is not None  # noqa: S101 - a piece without one was refused
    write_line(LoanLine, loan, "give_back", act, evidence={"piece": row.code})
    return Done.of("give_back", row, f"{row.part.name} {row.code} goes back to {loan.party}.")


def _back_facts(piece: Piece, loan: Loan | None) -> Iterator[Finding]:
    yield from may_go_back(piece, loan)
    if piece.cleaned_at is None:
        yield stop(
            "not-cleaned",
            piece.code,
            f"Cannot give back {piece.code}: no wash since its last use is recorded, one must be passed.",
            "Wash it first.",
        )


# The loan as a whole


@action
def confirm_loan_count(loan: str, *, reason: str = "", act: Act) -> Done:
    """Every piece has come, or gone: the count is confirmed; one that differs takes a reason."""
    row = lock_loan(loan)
    counted = row.pieces.count()
    reason = reason.strip()
    facts = [*count_differs(row.code, row.agreed, counted, reason)]
    if not counted:
        facts.append(stop("loan-empty", row.code, f"Cannot confirm the count of {row.code}: it has no piece."))
    move_loan(row, "confirm_count", act, facts=facts, reason=reason, evidence={"pieces": counted})
    return Done.of("confirm_loan_count", row, f"{counted} pieces on loan {row.code}, due on {row.due:%d-%b-%Y}.")


@action
def cancel_loan(loan: str, *, reason: str, act: Act) -> Done:
    """A loan that is agreed does not come about."""
    row = lock_loan(loan)
    reason = reason_given(reason, "cancel", row.code)
    facts = (
        [stop("loan-begun", row.code, f"Cannot cancel {row.code}: pieces of it are counted already, must be none.")]
        if row.pieces.exists()
        else []
    )
    move_loan(row, "cancel", act, facts=facts, reason=reason)
    return Done.of("cancel_loan", row, f"Loan {row.code} is cancelled.")


@action
def close_loan(loan: str, *, act: Act) -> Done:
    """A loan ends: every piece is back, or used up by record."""
    row = lock_loan(loan)
    members = members_of(row)
    move_loan(row, "close", act, facts=open_count(row.code, [member.fact for member in members]))
    return Done.of("close_loan", row, f"Loan {row.code} is closed, {len(members)} of {len(members)} accounted for.")


@action
def close_loan_short(loan: str, *, reason: str, act: Act) -> Done:
    """The named decision: a loan ends although pieces of it are not back; they are named, and missing from now on."""
    row = lock_loan(loan)
    reason = reason_given(reason, "close short", row.code)
    members = members_of(row)
    short = [member for member in members if member.fact.outcome not in ACCOUNTED]
    facts: Iterable[Finding] = ()
    if not short:
        facts = [stop("count-complete", row.code, f"Cannot close {row.code} short: its count adds up.", "Close it.")]
    codes = [member.piece.code for member in short]
    move_loan(row, "close_short", act, facts=facts, reason=reason, evidence={"missing": codes})
    away = [piece for piece in lock_pieces(codes) if piece.state == PieceState.ON_LOAN]
    for piece in away:
        move_piece(piece, "miss", act, reason=reason, evidence={"loan": row.code}, follows=True)
    return Done.of("close_loan_short", row, f"Loan {row.code} is closed short of {len(short)}: {', '.join(codes)}.")
