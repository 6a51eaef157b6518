"""What happens to packs beside the loop: received from a maker, stored, held apart, expired, taken apart."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from django.utils import timezone

from instruments.actions import enter_mark
from instruments.carriers import Decoded
from instruments.identity import Kind, decode, mark_key, why_not_mark_a_piece
from instruments.models import LoanLine, Part, PartKind, Piece, PieceLine
from instruments.reads import may_arrive, may_go_back
from instruments.states import PieceState
from instruments.writer import join_loan, lock_loan, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, stops, unknown
from journal.models import Place
from journal.roles import Right
from trays.actions.assembly import end_of_day, make_pack
from trays.models import Carried, Content, Pack, PackLine
from trays.states import PackKind, PackState
from trays.writer import carried_pieces, give_up, lock_pack, move_pack


@action
def receive_maker_pack(
    part: str,
    *,
    expires: date,
    lot: str = "",
    serial: str = "",
    mark: str = "",
    barrier_intact: bool,
    loan: str = "",
    act: Act,
) -> Done:
    """Take a maker-sterile item into stock: lot or serial, expiry, and its barrier looked at; borrowed or bought.

    `mark` is the symbol on the maker's label as scanned; it must agree with what was typed.
    """
    need(Right.STORE, "receive", part, act)
    borrowed = lock_loan(loan) if loan else None
    row = Part.objects.filter(code=part).first()
    if row is None:
        raise Refused(unknown("part", part))
    decoded = decode(mark) if mark.strip() else None
    said = decoded.identifiers if decoded else {}
    lot, serial = lot.strip() or said.get("lot", ""), serial.strip() or said.get("serial", "")
    findings = (
        *(_mark_facts(decoded, {"lot": lot, "serial": serial, "expiry": expires.isoformat()}) if decoded else ()),
        *_maker_facts(row, lot, serial, barrier_intact=barrier_intact, expires=expires, act=act),
        *(may_arrive(borrowed) if borrowed else ()),
    )
    if findings:
        raise Refused(*findings)
    piece = _received(row, lot, serial, expires, mark, act)
    if borrowed:
        join_loan(borrowed, piece, act, condition="sterile from its maker, barrier intact")
    pack = _seal_in(piece, act, expires=expires)
    return Done.of("receive_maker_pack", pack, f"{row.name} received as {pack.code}.", "Put it on the shelf.")


def _seal_in(piece: Piece, act: Act, *, expires: date) -> Pack:
    """The maker's pack around a piece, on the shelf."""
    row = piece.part
    pack = make_pack(
        act,
        kind=PackKind.MAKER,
        name=row.name,
        use_by=end_of_day(expires),
        holds_implant=row.kind == PartKind.IMPLANT,
        barrier_intact=True,
    )
    Content.objects.create(pack=pack, piece=piece, position=0, part_code=row.code, part_name=row.name)
    Carried.objects.create(piece=piece, pack=pack)
    move_pack(pack, "receive", act)
    return pack


def _maker_facts(
    part: Part, lot: str, serial: str, *, barrier_intact: bool, expires: date, act: Act
) -> Iterator[Finding]:
    for found, slug, wanted in (
        (bool(lot or serial), "lot-missing", "a lot or serial number"),
        (barrier_intact, "barrier-damaged", "an intact barrier"),
        (expires >= timezone.localdate(act.at), "expired", "an expiry that has not passed"),
    ):
        if not found:
            yield stop(
                slug,
                part.code,
                f"Cannot receive {part.name}: it does not have {wanted}.",
                "Keep it apart and call its supplier.",
            )


def _received(part: Part, lot: str, serial: str, expires: date, mark: str, act: Act) -> Piece:
    """The piece of a maker's pack, with the mark of its maker where that names one piece."""
    piece = Piece.objects.create(
        code=new_code(Kind.PIECE),
        part=part,
        lot=lot,
        serial=serial,
        expires=expires,
        maker_sterile=True,
        state=PieceState.PACKED,
    )
    evidence = {"lot": lot, "serial": serial} | ({"mark": mark_key(mark)} if mark.strip() else {})
    write_line(PieceLine, piece, "receive", act, target=PieceState.PACKED, evidence=evidence)
    if mark.strip() and not why_not_mark_a_piece(mark):
        enter_mark(piece, mark)
    return piece


def _mark_facts(decoded: Decoded, typed: dict[str, str]) -> Iterator[Finding]:
    """What forbids to take an item in by its scanned mark: it cannot be read, or says something else."""
    yield from stops(decoded.findings)
    for name, value in typed.items():
        found = decoded.identifiers.get(name, value)
        if found != value:
            yield stop(
                "mark-differs",
                decoded.key,
                f"Cannot receive it: its mark gives {name} {found}, must be {value} as typed.",
                "Compare with the print on the package, and type what it says.",
            )


@action
def give_back_pack(pack: str, *, act: Act) -> Done:
    """A borrowed item goes back to its lender as it came: sealed, sterile from its maker."""
    code = Piece.objects.filter(carried__pack__code=pack, loan__isnull=False).values_list("loan__code", flat=True)
    loan = lock_loan(code[0]) if code else None
    row = lock_pack(pack)
    pieces = carried_pieces(row)
    facts = [finding for piece in pieces for finding in may_go_back(piece, loan)]
    if row.kind != PackKind.MAKER:
        facts.append(stop("not-sealed", row.code, f"Cannot give back {row.code}: it is not sealed by its maker."))
    move_pack(row, "give_back", act, facts=facts)
    give_up(pieces, "give_back_sealed", act, evidence={"pack": row.code}, loan=None)
    assert loan is not None  # noqa: S101 - a pack without one was refused
    write_line(LoanLine, loan, "give_back", act, evidence={"piece": pieces[0].code, "pack": row.code})
    return Done.of("give_back_pack", row, f"{row.name} {row.code} goes back to {loan.party}, unopened.")


@action
def take_apart(pack: str, *, reason: str, act: Act) -> Done:
    """Undo an assembly before sterilising: the pack ends, its pieces are inspected again."""
    row = lock_pack(pack)
    reason = reason_given(reason, "take apart", row.code)
    move_pack(row, "take_apart", act, reason=reason)
    give_up(carried_pieces(row), "unpack", act, reason=reason)
    return Done.of("take_apart", row, f"{row.code} is taken apart.", "Assemble its pieces anew.")


@action
def store(pack: str, place: str, *, act: Act) -> Done:
    """Put a sterile pack on a shelf."""
    row = lock_pack(pack)
    need(Right.STORE, "store", row.code, act)
    shelf = Place.objects.filter(code=place).first()
    if shelf is None:
        raise Refused(unknown("place", place))
    if row.state != PackState.STERILE:
        raise Refused(
            stop(
                "wrong-state",
                row.code,
                f"Cannot store {row.code}: it is {row.state}, must be sterile.",
                "Only a released pack goes on the shelf.",
            )
        )
    row.place = shelf
    row.save(update_fields=["place"])
    write_line(PackLine, row, "store", act, evidence={"place": shelf.code})
    return Done.of("store", row, f"{row.name} {row.code} is in {shelf.name}.")


@action
def quarantine_pack(pack: str, *, reason: str, act: Act) -> Done:
    """Keep a pack apart until a named decision."""
    row = lock_pack(pack)
    move_pack(row, "quarantine", act, reason=reason_given(reason, "quarantine", row.code))
    return Done.of("quarantine_pack", row, f"{row.code} is quarantined.", "Put it in the quarantine place.")


@action
def condemn_pack(pack: str, *, reason: str, act: Act) -> Done:
    """The named decision on a quarantined pack: it ends, its pieces get full reprocessing."""
    row = lock_pack(pack)
    reason = reason_given(reason, "end the quarantine of", row.code)
    move_pack(row, "condemn", act, reason=reason)
    return Done.of("condemn_pack", row, f"{row.code} is ended.", _end(row, act, reason))


@action
def expire_pack(pack: str, *, act: Act) -> Done:
    """Take a pack past its shelf life from the shelf."""
    row = lock_pack(pack)
    facts = []
    if row.use_by >= act.at:
        last_day = timezone.localtime(row.use_by)
        facts.append(
            stop(
                "in-date",
                row.code,
                f"Cannot set {row.code} aside as expired: it may be used until {last_day:%d-%b-%Y}.",
                "Leave it on the shelf.",
            )
        )
    move_pack(row, "expire", act, facts=facts)
    return Done.of("expire_pack", row, f"{row.code} is expired.", "Send it back to the washer.")


@action
def scrap_pack(pack: str, *, reason: str = "", act: Act) -> Done:
    """End an expired or recalled pack; its pieces get full reprocessing."""
    row = lock_pack(pack)
    reason = reason or f"pack {row.state}"
    move_pack(row, "scrap", act, reason=reason)
    return Done.of("scrap_pack", row, f"{row.code} is ended.", _end(row, act, reason))


def _end(pack: Pack, act: Act, reason: str) -> str:
    """Pieces of a pack that reached no patient go to the washer; what may not be reprocessed is discarded.

    Returns:
        What the person does next.
    """
    pieces = carried_pieces(pack)
    spent = [piece for piece in pieces if piece.part.single_use and not piece.part.reprocess_unused]
    give_up(spent, "discard", act, reason=reason)
    give_up([piece for piece in pieces if piece not in spent], "send_back", act, reason=reason)
    if not spent:
        return "Wash its pieces."
    names = ", ".join(f"{piece.part.name} {piece.code}" for piece in spent)
    return f"Discard {names}; wash the rest." if len(spent) < len(pieces) else f"Discard {names}."
