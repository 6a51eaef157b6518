"""From the bench into a pack: a tray is finished, or one piece is wrapped by itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from instruments.identity import Kind
from instruments.models import PartKind, Piece
from instruments.reads import against_packing
from instruments.states import PieceState
from instruments.writer import lock_piece, lock_pieces, move_piece, new_code
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, stop
from journal.models import Person
from journal.reads import policy
from journal.roles import Right
from trays import matching
from trays.actions.bench import closed_facts, tray_facts
from trays.matching import TrayCount
from trays.models import Carried, ClosedMember, Content, Lack, Pack, PackLine, Placement, Tray
from trays.reads import live_pack, published_version, tray_count, version_facts
from trays.states import PackKind, PackState
from trays.writer import lock_tray

TRAY_EMPTY = "tray-empty"  # slug of the finding that nothing lies on a tray


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
    pieces = _lock_placed(base)
    count = tray_count(base, at=act.at, version=current)
    reason = incomplete_reason.strip() if count.lacks else ""
    signer = _holder_of(second) if reason else None
    findings = [
        *version_facts(base, current, version),
        *whoever_signs(base, live_pack(base), pieces, count),
        *(() if reason else _unsigned_facts(base, count)),
        *(_signing_facts(base, signer, act) if reason else ()),
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
        incomplete_reason=reason,
        incomplete_second=signer,
    )
    Lack.objects.bulk_create(_lacks(pack, count))
    Placement.objects.filter(tray=base).delete()
    _fill(pack, pieces, count.positions, act)
    sentence = f"{base.name} packed as {pack.code}."
    return Done.of("finish_tray", pack, sentence, "Print the label and scan it back.", count.findings)


def _lock_placed(tray: Tray) -> list[Piece]:
    """The pieces on a locked tray, locked.

    Nothing is added while the tray is locked, but a piece may be taken off between reading what lies on
    the tray and locking it: so what lies there is read once more behind the locks.
    """
    pieces = lock_pieces(Placement.objects.filter(tray=tray).values_list("piece__code", flat=True))
    placed = set(Placement.objects.filter(tray=tray).values_list("piece_id", flat=True))
    return [piece for piece in pieces if piece.pk in placed]


def whoever_signs(tray: Tray, pack: Pack | None, pieces: Collection[Piece], count: TrayCount) -> Iterator[Finding]:
    """Everything that forbids finishing a tray, whatever reason is given and whoever signs; `pack` is its live one."""
    yield from _placed_facts(tray, pack, pieces)
    yield from count.stops
    for lack in count.lacks:
        if lack.essential:
            yield _lacking(tray, lack, ", which is essential", "Scan it in.")


def _placed_facts(tray: Tray, pack: Pack | None, pieces: Collection[Piece]) -> Iterator[Finding]:
    """Asked anew of everything that lies on the tray: it may have been closed or taken out of service since."""
    yield from tray_facts(tray, pack)
    yield from closed_facts(pieces, tray)
    if not pieces:
        yield stop(
            TRAY_EMPTY,
            tray.code,
            f"Cannot finish {tray.name}: nothing lies on it, at least one piece must.",
            "Scan its pieces in.",
        )


def _lacks(pack: Pack, count: TrayCount) -> Iterator[Lack]:
    for lack in count.lacks:
        yield Lack(pack=pack, part_code=lack.part_code, part_name=lack.part_name, quantity=lack.quantity)


def _holder_of(badge: str) -> Person | None:
    badge = badge.strip().upper()
    return Person.objects.filter(badge=badge, is_active=True).first() if badge else None


def _unsigned_facts(tray: Tray, count: TrayCount) -> Iterator[Finding]:
    """What is not essential may lack, but only for a stated reason."""
    for lack in count.lacks:
        if not lack.essential:
            yield _lacking(tray, lack, "", "Scan it in, or state why the tray goes out incomplete.")


def _lacking(tray: Tray, lack: matching.Lack, weight: str, remedy: str) -> Finding:
    sentence = f"Cannot finish {tray.name}: {lack.quantity} × {lack.part_name} lacks{weight}."
    return stop(matching.MISSING_LINE, tray.code, sentence, remedy)


def _signing_facts(tray: Tray, second: Person | None, act: Act) -> Iterator[Finding]:
    """An incomplete tray is signed by a second person who may assemble trays."""
    if second is None:
        found = "no second person has signed, another badge must"
    elif second.pk == act.by.pk:
        found = "the second badge is your own, must be another person’s"
    elif Right.ASSEMBLE not in second.rights:
        found = f"{second} has signed, who may not assemble trays; a person who may must sign"
    else:
        return
    yield stop(
        "second-person-missing",
        tray.code,
        f"Cannot finish {tray.name} incomplete: {found}.",
        "Have a second person scan their badge.",
    )


def make_pack(act: Act, *, reason: str = "", said: Mapping[str, str] | None = None, **fields: Any) -> Pack:
    """A new pack with its first line; its shelf life by policy unless `use_by` is given.

    `reason` and `said` go to that line; what the pack itself knows is added.
    """
    last_day = timezone.localdate(act.at) + timedelta(days=int(policy("shelf_life_days")))
    values = {"use_by": end_of_day(last_day), **fields}
    pack: Pack = Pack.objects.create(code=new_code(Kind.PACK), assembled_at=act.at, assembled_by=act.by, **values)
    evidence: dict[str, Any] = dict(said or {})
    if pack.tray is not None and pack.version is not None:
        evidence |= {"tray": pack.tray.code, "version": pack.version.number}
    if pack.incomplete_second is not None:
        evidence["second"] = str(pack.incomplete_second)
    reason = pack.incomplete_reason or reason
    write_line(PackLine, pack, "assemble", act, target=PackState.ASSEMBLED, reason=reason, evidence=evidence)
    return pack


def end_of_day(day: date) -> datetime:
    """The last minute of a day in the unit's time zone."""
    return timezone.make_aware(datetime.combine(day, time(23, 59)))


def _fill(pack: Pack, pieces: Collection[Piece], positions: Mapping[str, int], act: Act) -> None:
    """Freeze the contents; nevers 4 and 9 are asked once more for each piece, at the moment of packing."""
    today = timezone.localdate(act.at)
    for piece in pieces:
        move_piece(piece, "pack", act, facts=against_packing(piece, today), evidence={"pack": pack.code})
    Content.objects.bulk_create(
        Content(
            pack=pack,
            piece=piece,
            position=positions.get(piece.code, 0),
            part_code=piece.part.code,
            part_name=piece.part.name,
        )
        for piece in pieces
    )
    Carried.objects.bulk_create(Carried(piece=piece, pack=pack) for piece in pieces)


@action
def pack_single(piece: str, *, immediate: bool = False, reason: str = "", patient_ref: str = "", act: Act) -> Done:
    """Wrap one inspected piece as a pack of its own; `immediate` for an unwrapped immediate-use item.

    An immediate-use item needs a reason and the pseudonymous reference of its patient. It is not stored: a
    day at most stands on it, and how long it may be used after its cycle is asked when it is issued.
    """
    row = lock_piece(piece)
    need(Right.ASSEMBLE, "pack", row.code, act)
    findings = [*_single_facts(row), *(_immediate_facts(row, reason, patient_ref) if immediate else ())]
    if findings:
        raise Refused(*findings)
    fields: dict[str, Any] = {"kind": PackKind.SINGLE}
    if immediate:
        fields = {
            "kind": PackKind.IMMEDIATE,
            "use_by": act.at + timedelta(days=1),
            "said": {"patient_ref": patient_ref.strip()},
        }
    holds_implant = row.part.kind == PartKind.IMPLANT
    pack = make_pack(act, name=row.part.name, holds_implant=holds_implant, reason=reason.strip(), **fields)
    _fill(pack, [row], {}, act)
    return Done.of("pack_single", pack, f"{row.part.name} packed as {pack.code}.", "Print the label and scan it back.")


def _single_facts(piece: Piece) -> Iterator[Finding]:
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


def _immediate_facts(piece: Piece, reason: str, patient_ref: str) -> Iterator[Finding]:
    implant = piece.part.kind == PartKind.IMPLANT
    allowed = piece.part.programmes.filter(immediate=True).exists()
    for found, slug, why, remedy in (
        (
            not policy("immediate_use"),
            "immediate-use-off",
            "the unit's policy has it off",
            "Wrap it as a single pack.",
        ),
        (implant, "immediate-use-implant", "it is an implant", "Wrap it and wait for its biological result."),
        (
            not allowed,
            "programme-not-validated",
            "no immediate-use programme is validated for it",
            "Wrap it as a single pack.",
        ),
        (not reason.strip(), "reason-missing", "the reason is not recorded, it must be stated", "Write the reason."),
        (
            not patient_ref.strip(),
            "patient-missing",
            "no patient reference is recorded, one must be",
            "Enter the pseudonymous reference.",
        ),
    ):
        if found:
            yield stop(slug, piece.code, f"Cannot pack {piece.code} for immediate use: {why}.", remedy)
