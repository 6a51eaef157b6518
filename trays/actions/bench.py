"""What happens at the bench: pieces onto trays, trays into packs, and packs that never reach a patient."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta

from django.utils import timezone

from instruments.identity import Kind
from instruments.life import fit_to_pack
from instruments.models import PartKind, Piece, PieceLine
from instruments.states import PieceState
from instruments.writer import lock_piece, lock_pieces, move_piece, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity
from journal.models import Person
from journal.reads import policy
from journal.roles import Right
from trays.matching import TrayCount
from trays.models import (
    Carried,
    ClosedMember,
    Content,
    Lack,
    Pack,
    PackLine,
    Placement,
    TemplateVersion,
    Tray,
)
from trays.reads import published_version, tray_count
from trays.states import PackKind, PackState
from trays.writer import lock_tray


def done(verb: str, pack: Pack, sentence: str, next_step: str = "") -> Done:
    """The answer about a pack."""
    return Done(verb, "pack", pack.pk, pack.code, pack.state, sentence, next_step)


def stop(slug: str, subject: str, sentence: str, remedy: str) -> Finding:
    """A finding that forbids."""
    return Finding(slug, Severity.STOP, subject, sentence, remedy)


@action
def put_on_tray(piece: str, tray: str, *, act: Act) -> Done:
    """Lay an inspected piece on a tray."""
    base = lock_tray(tray)
    row = lock_piece(piece)
    today = timezone.localdate(act.at)
    facts = [*_closed_facts(row, base), *_live_pack_facts(base), *fit_to_pack(row.wear, today)]
    move_piece(row, "put_on_tray", act, facts=facts, evidence={"tray": base.code})
    Placement.objects.create(piece=row, tray=base, at=act.at, by=act.by)
    return Done("put_on_tray", "piece", row.pk, row.code, row.state, f"{row.part.name} {row.code} on {base.name}.")


def _closed_facts(piece: Piece, tray: Tray) -> Iterable[Finding]:
    """Never 7: a closed set exchanges no piece with any other."""
    member = ClosedMember.objects.filter(piece=piece).select_related("tray").first()
    if member is not None and member.tray_id != tray.pk:
        yield stop(
            "closed-set",
            piece.code,
            f"Cannot put {piece.code} on {tray.name}: it belongs to the closed set {member.tray.name}.",
            f"Return it to {member.tray.name}.",
        )
    if member is None and tray.closed:
        yield stop(
            "closed-set",
            piece.code,
            f"Cannot put {piece.code} on {tray.name}: the set is closed and the piece is not one of its own.",
            "Take the set's own piece, or have this one joined to the set by named decision.",
        )


def _live_pack_facts(tray: Tray) -> Iterable[Finding]:
    pack = Pack.objects.live().filter(tray=tray).first()
    if pack is not None:
        yield stop(
            "tray-packed",
            tray.code,
            f"Cannot assemble {tray.name}: its pack {pack.code} is {pack.state}, must have ended first.",
            "Return, open or take apart that pack.",
        )


@action
def take_off_tray(piece: str, *, act: Act) -> Done:
    """Take a piece off its tray; it stays inspected."""
    row = lock_piece(piece)
    move_piece(row, "take_off_tray", act)
    Placement.objects.filter(piece=row).delete()
    return Done("take_off_tray", "piece", row.pk, row.code, row.state, f"{row.part.name} {row.code} taken off.")


@action
def set_aside(piece: str, *, reason: str, act: Act) -> Done:
    """Take a faulty piece off its tray and send it to repair."""
    row = lock_piece(piece)
    reason = reason_given(reason, "set aside", row.code)
    if row.state == PieceState.ON_TRAY:
        move_piece(row, "take_off_tray", act)
        Placement.objects.filter(piece=row).delete()
    move_piece(row, "send_to_repair", act, reason=reason)
    sentence = f"{row.part.name} {row.code} goes to repair."
    return Done("set_aside", "piece", row.pk, row.code, row.state, sentence, "Scan another in its place.")


@action
def join_closed_set(piece: str, tray: str, *, reason: str, act: Act) -> Done:
    """The named decision by which a piece joins a closed set for life."""
    base, row = lock_tray(tray), lock_piece(piece)
    need(Right.DECIDE, "join to a closed set", row.code, act)
    reason = reason_given(reason, "join to a closed set", row.code)
    if not base.closed:
        raise Refused(
            stop(
                "set-not-closed",
                base.code,
                f"Cannot join {row.code} to {base.name}: the set is open, must be closed.",
                "Nothing is needed: an open set takes any fitting piece.",
            )
        )
    if ClosedMember.objects.filter(piece=row).exists():
        raise Refused(
            stop(
                "closed-set",
                row.code,
                f"Cannot join {row.code} to {base.name}: it belongs to a closed set already.",
                "Take a piece that belongs to none.",
            )
        )
    ClosedMember.objects.create(piece=row, tray=base)
    write_line(PieceLine, row, "join_closed_set", act, reason=reason, evidence={"tray": base.code})
    return Done("join_closed_set", "piece", row.pk, row.code, row.state, f"{row.code} joined {base.name} for life.")


@action
def finish_tray(
    tray: str,
    *,
    version: int | None = None,
    incomplete_reason: str = "",
    second: str = "",
    act: Act,
) -> Done:
    """Close the assembly: the tray becomes a pack with frozen contents.

    `version` is the template version the person worked from; when another has been published since,
    the tray is not finished. An incomplete tray needs a reason, a second person's badge, and nothing
    essential lacking.
    """
    base = lock_tray(tray)
    need(Right.ASSEMBLE, "finish", base.name, act)
    current = published_version(base.template)
    pieces = lock_pieces(Placement.objects.filter(tray=base).values_list("piece__code", flat=True))
    count = tray_count(base, at=act.at)
    signer = _second_person(second, act) if count.lacks and incomplete_reason else None
    findings = [
        *_version_facts(base, current, version),
        *_live_pack_facts(base),
        *count.stops,
        *_incomplete_facts(base, count, incomplete_reason, signer),
    ]
    if findings:
        raise Refused(*findings)
    pack = make_pack(
        act,
        kind=PackKind.TRAY,
        name=base.name,
        tray=base,
        version=current,
        holds_implant=any(piece.part.kind == PartKind.IMPLANT for piece in pieces),
        incomplete_reason=incomplete_reason if count.lacks else "",
        incomplete_second=signer,
    )
    Lack.objects.bulk_create(
        Lack(pack=pack, part_code=lack.part_code, part_name=lack.part_name, quantity=lack.quantity)
        for lack in count.lacks
    )
    _fill(pack, pieces, count.positions, act)
    Placement.objects.filter(tray=base).delete()
    return done("finish_tray", pack, f"{base.name} packed as {pack.code}.", "Print the label and scan it back.")


def _version_facts(tray: Tray, current: TemplateVersion, worked_from: int | None) -> Iterable[Finding]:
    if worked_from is not None and worked_from != current.number:
        yield stop(
            "list-changed",
            tray.code,
            f"Cannot finish {tray.name}: it was assembled to version {worked_from}, must be version {current.number}.",
            "Look at the changed lines and finish again.",
        )


def _second_person(badge: str, act: Act) -> Person | None:
    person = Person.objects.filter(badge=badge.strip().upper(), is_active=True).first() if badge.strip() else None
    return None if person is None or person.pk == act.by.pk else person


def _incomplete_facts(tray: Tray, count: TrayCount, reason: str, second: Person | None) -> Iterable[Finding]:
    """A tray goes out incomplete only when nothing essential lacks, with a reason and a second person."""
    for lack in count.lacks:
        if lack.essential or not reason.strip():
            yield stop(
                "missing-line",
                tray.code,
                f"Cannot finish {tray.name}: {lack.quantity} × {lack.part_name} lacks"
                f"{', which is essential' if lack.essential else ''}.",
                "Scan it in." if lack.essential else "Scan it in, or state why the tray goes out incomplete.",
            )
    if count.lacks and reason.strip() and second is None:
        yield stop(
            "second-person-missing",
            tray.code,
            f"Cannot finish {tray.name} incomplete: no second person has signed, another badge must.",
            "Have a second person scan their badge.",
        )


def make_pack(act: Act, **fields: object) -> Pack:
    """A new pack with its first line; its shelf life by policy unless `use_by` is given."""
    shelf_days = int(policy("shelf_life_days"))
    last_day = timezone.localdate(act.at) + timedelta(days=shelf_days)
    values: dict[str, object] = {"use_by": end_of_day(last_day), **fields}
    pack: Pack = Pack.objects.create(code=new_code(Kind.PACK), assembled_at=act.at, assembled_by=act.by, **values)
    write_line(PackLine, pack, "assemble", act, target=PackState.ASSEMBLED, reason=pack.incomplete_reason)
    return pack


def end_of_day(day: date) -> datetime:
    """The last minute of a day in the unit's time zone."""
    return timezone.make_aware(datetime.combine(day, time(23, 59)))


def _fill(pack: Pack, pieces: Iterable[Piece], positions: dict[str, int], act: Act) -> None:
    """Freeze the contents; never 4 is asked once more for each piece, at the moment of packing."""
    today = timezone.localdate(act.at)
    for piece in pieces:
        move_piece(piece, "pack", act, facts=fit_to_pack(piece.wear, today), evidence={"pack": pack.code})
        Content.objects.create(
            pack=pack,
            piece=piece,
            position=positions.get(piece.code, 0),
            part_code=piece.part.code,
            part_name=piece.part.name,
        )
        Carried.objects.create(piece=piece, pack=pack)


@action
def pack_single(piece: str, *, immediate: bool = False, act: Act) -> Done:
    """Wrap one inspected piece as a pack of its own; `immediate` for an unwrapped immediate-use item."""
    row = lock_piece(piece)
    need(Right.ASSEMBLE, "pack", row.code, act)
    findings = [*_single_facts(row), *(_immediate_facts(row) if immediate else ())]
    if findings:
        raise Refused(*findings)
    kind = PackKind.IMMEDIATE if immediate else PackKind.SINGLE
    pack = make_pack(
        act,
        kind=kind,
        name=row.part.name,
        holds_implant=row.part.kind == PartKind.IMPLANT,
        barrier_intact=None,
    )
    _fill(pack, [row], {}, act)
    return done("pack_single", pack, f"{row.part.name} packed as {pack.code}.", "Print the label and scan it back.")


def _single_facts(piece: Piece) -> Iterable[Finding]:
    if ClosedMember.objects.filter(piece=piece).exists():
        yield stop(
            "closed-set",
            piece.code,
            f"Cannot pack {piece.code} by itself: it belongs to a closed set.",
            "Put it on its own tray.",
        )
    if piece.state == PieceState.ON_TRAY:
        yield stop(
            "on-a-tray",
            piece.code,
            f"Cannot pack {piece.code} by itself: it lies on a tray.",
            "Take it off the tray first.",
        )


def _immediate_facts(piece: Piece) -> Iterable[Finding]:
    if not policy("immediate_use"):
        yield stop(
            "immediate-use-off",
            piece.code,
            f"Cannot pack {piece.code} for immediate use: the unit's policy has it off.",
            "Wrap it as a single pack.",
        )
    if piece.part.kind == PartKind.IMPLANT:
        yield stop(
            "immediate-use-implant",
            piece.code,
            f"Cannot pack {piece.code} for immediate use: it is an implant.",
            "Wrap it and wait for its biological result.",
        )
