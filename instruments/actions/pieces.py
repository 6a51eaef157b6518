"""What happens to a piece outside trays and loads: entered, marked, inspected, serviced, repaired, held."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from instruments.actions.boxes import box_of
from instruments.box_states import stays_in_box
from instruments.identity import Kind, decode, why_not_mark_a_piece
from instruments.loans import Direction
from instruments.models import FunctionTest, Mark, Part, Piece, PieceLine
from instruments.states import PieceState
from instruments.writer import lock_piece, move_piece, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity, stop, unknown
from journal.models import Place
from journal.roles import Right


@action
def enrol(
    part: str,
    *,
    serial: str = "",
    lot: str = "",
    expires: date | None = None,
    marks: tuple[str, ...] = (),
    act: Act,
) -> Done:
    """Enter a new piece of a part; it starts at returned, so it is processed before its first use."""
    need(Right.MASTER, "enter a piece of", part, act)
    row = Part.objects.filter(code=part).first()
    if row is None:
        raise Refused(unknown("part", part))
    piece = Piece.objects.create(
        code=new_code(Kind.PIECE),
        part=row,
        serial=serial,
        lot=lot,
        expires=expires,
        service_due=next_service(row, act),
    )
    write_line(PieceLine, piece, "enrol", act, target=PieceState.RETURNED)
    for text in marks:
        enter_mark(piece, text)
    return Done.of("enrol", piece, f"{piece.code} entered as {row.name}.", "Wash it before its first use.")


def next_service(part: Part, act: Act) -> date | None:
    """The service date of a piece that is as good as new today; None where the part needs no service."""
    if part.service_days is None:
        return None
    return timezone.localdate(act.at) + timedelta(days=part.service_days)


def enter_mark(piece: Piece, text: str) -> None:
    """Put a mark on a piece, or make one that it carries current again.

    Its own code may stand among its marks, for a register lists whatever is engraved.

    Raises:
        Refused: the text cannot be the mark of one piece, or another piece carries it.
    """
    decoded = decode(text)
    findings = () if decoded.key == piece.code else why_not_mark_a_piece(text)
    if findings:
        raise Refused(*findings)
    fields = {"piece": piece, "text": text, "scheme": decoded.scheme}
    mark, _ = Mark.objects.select_related("piece").get_or_create(key=decoded.key, defaults=fields)
    if mark.piece_id != piece.pk:
        raise Refused(
            Finding(
                "mark-taken",
                Severity.STOP,
                text,
                f"Cannot put the mark {text} on {piece.code}: it is on {mark.piece.code}.",
                "Scan the piece that carries it, or mark this one anew.",
            )
        )
    if not mark.current:
        mark.current = True
        mark.save(update_fields=["current"])


@action
def add_mark(piece: str, text: str, *, replaces: bool = False, act: Act) -> Done:
    """Put a further mark on a piece; with `replaces` the older ones stay findable but are no longer current."""
    row = lock_piece(piece)
    need(Right.MASTER, "mark", row.code, act)
    if replaces:
        row.marks.update(current=False)
    enter_mark(row, text)
    write_line(PieceLine, row, "add_mark", act, evidence={"text": text, "replaces": replaces})
    return Done.of("add_mark", row, f"{row.code} now carries {text}.")


@action
def inspect(
    piece: str,
    *,
    clean: bool,
    function: bool | None = None,
    insulation: bool | None = None,
    note: str = "",
    act: Act,
) -> Done:
    """Record what the eye and the tests found: inspected, or back to the washer, to repair, or withdrawn."""
    row = lock_piece(piece)
    if not clean:
        move_piece(row, "find_soiled", act, reason=note or "found soiled")
        return Done.of("inspect", row, f"{row.code} is soiled: back to returned.", "Wash it again.")
    results = {"function": function, "insulation": insulation}
    facts = [*_time_facts(row, act), *_test_facts(row, results)]
    tested: dict[str, Any] = {"function_ok": function, "insulation_ok": insulation}
    move_piece(row, "inspect", act, facts=facts, reason=note, inspected_at=act.at, **tested)
    _record_tests(row, results, note, act)
    if insulation is False:
        move_piece(row, "withdraw", act, reason=note or "insulation test failed", follows=True)
        return Done.of("inspect", row, f"{row.code} is withdrawn: its insulation test failed.", "Take another.")
    if function is False:
        move_piece(row, "send_to_repair", act, reason=note or "function test failed", follows=True)
        return Done.of("inspect", row, f"{row.code} goes to repair: its function test failed.", "Take another.")
    return Done.of("inspect", row, f"{row.code} inspected.", "Ready for a tray.")


def _record_tests(piece: Piece, results: dict[str, bool | None], note: str, act: Act) -> None:
    for kind, passed in results.items():
        if passed is not None:
            FunctionTest.objects.create(piece=piece, kind=kind, passed=passed, note=note, at=act.at, by=act.by)


def _time_facts(piece: Piece, act: Act) -> Iterator[Finding]:
    """The eye comes after the wash, by the clock too."""
    if piece.cleaned_at is not None and act.at < piece.cleaned_at:
        cleaned = timezone.localtime(piece.cleaned_at)
        yield Finding(
            "before-cleaning",
            Severity.STOP,
            piece.code,
            f"Cannot inspect {piece.code} at {timezone.localtime(act.at):%a %d-%b-%Y %H:%M}: "
            f"it was cleaned at {cleaned:%a %d-%b-%Y %H:%M}, must be inspected after that.",
            "Look at the clocks of the station and of the washer.",
        )


def _test_facts(piece: Piece, results: dict[str, bool | None]) -> Iterator[Finding]:
    """A part that needs a test is not inspected without its result; one that failed asks for no other."""
    needed = {"function": piece.part.function_test, "insulation": piece.part.insulated}
    for name, wanted in needed.items():
        if wanted and results[name] is None and False not in results.values():
            yield Finding(
                f"{name}-test-missing",
                Severity.STOP,
                piece.code,
                f"Cannot inspect {piece.code}: no {name} test is recorded, one must be passed.",
                f"Do the {name} test and record its result.",
            )


def _simple(verb: str, piece: str, act: Act, sentence: str, next_step: str = "", **more: Any) -> Done:
    row = lock_piece(piece)
    move_piece(row, verb, act, **more)
    return Done.of(verb, row, f"{row.code} {sentence}", next_step)


@action
def miss(piece: str, *, reason: str, act: Act) -> Done:
    """Report a piece missing."""
    return _simple("miss", piece, act, "is missing.", "Look for it where it was last.", reason=reason)


@action
def find(piece: str, *, act: Act) -> Done:
    """A missing piece was found: it re-enters at returned; one that was lent is on loan no more."""
    row = lock_piece(piece)
    fields: dict[str, Any] = {"loan": None} if row.loan and row.loan.direction == Direction.OUT else {}
    move_piece(row, "find", act, **fields)
    return Done.of("find", row, f"{row.code} was found.", "Wash it.")


@action
def record_service(piece: str, *, reason: str, act: Act) -> Done:
    """A piece was serviced in the unit, and what was done: its next date is set anew."""
    row = lock_piece(piece)
    need(Right.REPAIR, "record a service of", row.code, act)
    reason = reason_given(reason, "record a service of", row.code)
    if row.part.service_days is None:
        raise Refused(
            stop(
                "no-service",
                row.code,
                f"Cannot record a service of {row.code}: {row.part.name} has no service interval, must have one.",
                "Have the interval entered with its part first.",
            )
        )
    row.service_due = next_service(row.part, act)
    row.save(update_fields=["service_due"])
    write_line(PieceLine, row, "service", act, reason=reason, evidence={"service_due": str(row.service_due)})
    return Done.of("record_service", row, f"{row.code} is serviced; due again on {row.service_due:%d-%b-%Y}.")


@action
def send_to_repair(
    piece: str, *, reason: str, to: str = "", order: str = "", expected: date | None = None, act: Act
) -> Done:
    """A piece leaves for repair: what is wrong, to whom it goes, on which order, and when it is expected back."""
    reason = reason_given(reason, "send to repair", piece)
    evidence = {"to": to.strip(), "order": order.strip(), "expected": str(expected or "")}
    return _simple(
        "send_to_repair",
        piece,
        act,
        "goes to repair.",
        "Take another.",
        reason=reason,
        evidence={name: value for name, value in evidence.items() if value},
        due_back=expected,
    )


@action
def take_from_repair(piece: str, *, serviced: bool = True, act: Act) -> Done:
    """A piece is back from repair; when it was serviced its next date is set anew."""
    row = lock_piece(piece)
    fields: dict[str, Any] = {"service_due": next_service(row.part, act)} if serviced else {}
    move_piece(row, "take_from_repair", act, evidence={"serviced": serviced}, due_back=None, **fields)
    return Done.of("take_from_repair", row, f"{row.code} is back from repair.", "Wash it.")


@action
def withdraw(piece: str, *, reason: str, act: Act) -> Done:
    """A piece leaves the unit's stock for good."""
    reason = reason_given(reason, "withdraw", piece)
    return _simple("withdraw", piece, act, "is withdrawn.", reason=reason, due_back=None)


@action
def quarantine_piece(piece: str, *, reason: str, place: str = "", act: Act) -> Done:
    """A piece is kept apart, away from the washer, until a named decision."""
    fields: dict[str, Any] = {}
    if place:
        fields["place"] = _place(place)
    reason = reason_given(reason, "quarantine", piece)
    next_step = "Put it in the labelled, sealed box."
    return _simple("quarantine", piece, act, "is quarantined.", next_step, reason=reason, **fields)


def _place(code: str) -> Place:
    place = Place.objects.filter(code=code).first()
    if place is None:
        raise Refused(unknown("place", code))
    return place


@action
def clear_piece(piece: str, *, reason: str, act: Act) -> Done:
    """The named decision: ruled out, so the piece goes to full reprocessing; not while it is in a quarantine box."""
    return _decide("clear", piece, reason, act, "is cleared.", "Wash it.")


@action
def destroy_piece(piece: str, *, reason: str, act: Act) -> Done:
    """The named decision: confirmed or unresolved, so the piece is destroyed by record; not while it is in a box."""
    return _decide("destroy", piece, reason, act, "is destroyed.")


def _decide(verb: str, piece: str, reason: str, act: Act, sentence: str, next_step: str = "") -> Done:
    reason = reason_given(reason, verb, piece)
    row = lock_piece(piece)
    move_piece(row, verb, act, facts=stays_in_box(verb, row.code, box_of(row)), reason=reason)
    return Done.of(verb, row, f"{row.code} {sentence}", next_step)
