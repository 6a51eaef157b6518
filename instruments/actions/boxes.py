"""Quarantine boxes: opened for a case, filled before the washer, sealed, decided on by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from instruments.box_states import BoxState, stays_in_box
from instruments.identity import Kind
from instruments.models import BoxedPiece, BoxLine, Piece, QuarantineBox
from instruments.states import PieceState
from instruments.writer import lock_box, lock_piece, lock_pieces, move_box, move_piece, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, unknown
from journal.models import Place
from journal.roles import Right

LONGEST_REFERENCE = 40


@action
def open_box(reference: str, *, ground: str, place: str = "", act: Act) -> Done:
    """Open a quarantine box for a case with suspected prion disease, by the case's pseudonymous reference."""
    reference = reference.strip()
    need(Right.HOLD, "open a quarantine box for", reference or "a case", act)
    ground = reason_given(ground, "open a quarantine box for", reference or "a case")
    if not 0 < len(reference) <= LONGEST_REFERENCE:
        found = f"it has {len(reference)} characters" if reference else "it is not recorded"
        sentence = f"Cannot open a quarantine box: the reference of the case is refused: {found}, "
        wanted = f"must have 1 to {LONGEST_REFERENCE}."
        raise Refused(stop("reference-unfit", "box", sentence + wanted, "Give the case's code or reference, no name."))
    where = Place.objects.filter(code=place).first()
    if place and where is None:
        raise Refused(unknown("place", place))
    box = QuarantineBox.objects.create(
        code=new_code(Kind.BOX),
        reference=reference,
        ground=ground,
        place=where,
        opened_at=act.at,
        opened_by=act.by,
    )
    evidence = {"reference": reference, "place": place}
    write_line(BoxLine, box, "open_box", act, target=BoxState.OPEN, reason=ground, evidence=evidence)
    return Done.of("open_box", box, f"Quarantine box {box.code} is open.", "Put in every piece of the case; seal it.")


@action
def put_in_box(box: str, piece: str, *, act: Act) -> Done:
    """Put a piece into an open box, before the washer; one that was quarantined alone may go in as well."""
    row = lock_box(box)
    held = lock_piece(piece)
    box_pieces(row, [held], act)
    next_step = "Put in the next, or seal the box."
    return Done.of("put_in_box", row, f"{held.code} is in quarantine box {row.code}.", next_step)


def box_pieces(box: QuarantineBox, pieces: Iterable[Piece], act: Act) -> None:
    """Put locked pieces into a locked box.

    Raises:
        Refused: the box is not open, or a piece cannot be kept apart now; nothing is written.
    """
    need(Right.HOLD, "fill", box.code, act)
    rows = list(pieces)
    facts = [*_not_open(box), *(fact for piece in rows for fact in _in_a_box(piece))]
    if facts:
        raise Refused(*facts)
    for piece in rows:
        evidence = {"box": box.code}
        if piece.state == PieceState.QUARANTINED:
            piece.place = box.place or piece.place
            piece.save(update_fields=["place"])
        else:
            move_piece(piece, "quarantine", act, reason=box.ground, evidence=evidence, place=box.place or piece.place)
        BoxedPiece.objects.create(box=box, piece=piece)
        write_line(BoxLine, box, "put_in_box", act, evidence={"piece": piece.code})


def _not_open(box: QuarantineBox) -> Iterator[Finding]:
    if box.state != BoxState.OPEN:
        sentence = f"Cannot put a piece in quarantine box {box.code}: it is {box.state}, must be open."
        yield stop("wrong-state", box.code, sentence, "Open another box for the same case.")


def _in_a_box(piece: Piece) -> Iterator[Finding]:
    yield from stays_in_box("put in a box", piece.code, box_of(piece))


def box_of(piece: Piece) -> str | None:
    """Code of the box that a locked piece is in."""
    found: str | None = piece.boxed.filter(inside=True).values_list("box__code", flat=True).first()
    return found


@action
def seal_box(box: str, *, act: Act) -> Done:
    """Seal a box; from then on nothing goes in, and it leaves by decision only."""
    row = lock_box(box)
    facts = []
    if not row.boxed.exists():
        sentence = f"Cannot seal {row.code}: it holds no piece, must hold at least one."
        facts.append(stop("box-empty", row.code, sentence, "Put in the pieces of the case first."))
    move_box(row, "seal", act, facts=facts, sealed_at=act.at)
    return Done.of("seal_box", row, f"{row.code} is sealed.", "Fill in its label by hand and lock it away.")


@action
def rule_out_box(box: str, *, reason: str, act: Act) -> Done:
    """The named decision that the disease is ruled out: every piece goes to full reprocessing."""
    row, pieces = _decided(box, "rule_out", reason, act)
    for piece in pieces:
        move_piece(piece, "clear", act, reason=row.decision, evidence={"box": row.code}, follows=True)
    sentence = f"The suspicion on {row.code} is ruled out: {len(pieces)} pieces are returned."
    return Done.of("rule_out_box", row, sentence, "Give them full reprocessing.")


@action
def destroy_box(box: str, *, reason: str, act: Act) -> Done:
    """The named decision that the disease is confirmed or stays unresolved: all of it is destroyed by record."""
    row, pieces = _decided(box, "destroy", reason, act)
    for piece in pieces:
        move_piece(piece, "destroy", act, reason=row.decision, evidence={"box": row.code}, follows=True)
    sentence = f"{row.code} is destroyed by record: {len(pieces)} pieces are withdrawn."
    return Done.of("destroy_box", row, sentence, "Have the sealed box destroyed unopened, by local policy.")


def _decided(box: str, name: str, reason: str, act: Act) -> tuple[QuarantineBox, list[Piece]]:
    row = lock_box(box)
    pieces = lock_pieces(row.boxed.filter(inside=True).values_list("piece__code", flat=True))
    reason = reason_given(reason, "decide on", row.code)
    move_box(row, name, act, reason=reason, decision=reason, decided_at=act.at, decided_by=act.by)
    row.boxed.update(inside=False)
    return row, pieces
