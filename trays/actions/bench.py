"""What happens at the bench while a tray is assembled: pieces onto it, off it, aside, and into a closed set."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from django.utils import timezone

from instruments.life import due_soon
from instruments.models import Piece, PieceLine
from instruments.reads import against_packing
from instruments.states import PieceState
from instruments.writer import lock_piece, move_piece
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop
from journal.reads import policies
from journal.roles import Right
from trays.models import Carried, ClosedMember, Pack, Placement, Tray
from trays.reads import live_pack
from trays.writer import lock_tray


@action
def put_on_tray(piece: str, tray: str, *, act: Act) -> Done:
    """Lay an inspected piece on a tray."""
    base = lock_tray(tray)
    row = lock_piece(piece)
    today = timezone.localdate(act.at)
    facts = [*tray_facts(base, live_pack(base)), *closed_facts([row], base), *against_packing(row, today)]
    move_piece(row, "put_on_tray", act, facts=facts, evidence={"tray": base.code})
    Placement.objects.create(piece=row, tray=base, at=act.at, by=act.by)
    soon_is = policies()
    soon = due_soon(
        row.wear,
        today,
        service_days=int(soon_is["service_soon_days"]),
        cycles_left=int(soon_is["cycles_left_soon"]),
    )
    sentence = f"{row.part.name} {row.code} on {base.name}."
    return Done.of("put_on_tray", row, sentence, findings=soon)


def closed_facts(pieces: Collection[Piece], tray: Tray) -> Iterator[Finding]:
    """Never 7: a closed set exchanges no piece with any other."""
    members = ClosedMember.objects.filter(piece__in=pieces).values_list("piece", "tray__code", "tray__name")
    homes = {piece: (code, name) for piece, code, name in members}
    for piece in pieces:
        code, name = homes.get(piece.pk, ("", ""))
        if code not in ("", tray.code):
            yield stop(
                "closed-set",
                piece.code,
                f"Cannot put {piece.code} on {tray.name}: it belongs to the closed set {name}.",
                f"Return it to {name}.",
            )
        if not code and tray.closed:
            yield stop(
                "closed-set",
                piece.code,
                f"Cannot put {piece.code} on {tray.name}: the set is closed and the piece is not one of its own.",
                "Take the set's own piece, or have this one joined to the set by named decision.",
            )


def tray_facts(tray: Tray, pack: Pack | None) -> Iterator[Finding]:
    """A tray is assembled when it is in service and its last pack has ended; `pack` is the one that is live."""
    if not tray.in_service:
        yield stop(
            "tray-out-of-service",
            tray.code,
            f"Cannot assemble {tray.name}: it is out of service, must be in service.",
            "Take another tray.",
        )
    if pack is not None:
        yield stop(
            "tray-packed",
            tray.code,
            f"Cannot assemble {tray.name}: its pack {pack.code} is {pack.state}, must have ended first.",
            "Return, open or take apart that pack.",
        )


@action
def take_off_tray(piece: str, *, tray: str = "", act: Act) -> Done:
    """Take a piece off its tray; it stays inspected. With `tray` named, off that one only."""
    row = lock_piece(piece)
    move_piece(row, "take_off_tray", act, facts=_elsewhere_facts(row, tray))
    Placement.objects.filter(piece=row).delete()
    return Done.of("take_off_tray", row, f"{row.part.name} {row.code} taken off.")


def _elsewhere_facts(piece: Piece, tray: str) -> Iterator[Finding]:
    """A piece that somebody has meanwhile laid on another tray is not taken off that one unseen."""
    other = Tray.objects.filter(placements__piece=piece).exclude(code=tray).first() if tray else None
    if other is not None:
        yield stop(
            "on-another-tray",
            piece.code,
            f"Cannot take {piece.code} off this tray: it lies on {other.name}, must lie on this one.",
            f"Look at the bench of {other.name}.",
        )


@action
def set_aside(piece: str, *, reason: str, tray: str = "", act: Act) -> Done:
    """Take a faulty piece off its tray and send it to repair. With `tray` named, off that one only."""
    row = lock_piece(piece)
    reason = reason_given(reason, "set aside", row.code)
    if row.state == PieceState.ON_TRAY:
        move_piece(row, "take_off_tray", act, facts=_elsewhere_facts(row, tray))
        Placement.objects.filter(piece=row).delete()
    move_piece(row, "send_to_repair", act, reason=reason)
    sentence = f"{row.part.name} {row.code} goes to repair."
    return Done.of("set_aside", row, sentence, "Scan another in its place.")


@action
def join_closed_set(piece: str, tray: str, *, reason: str, act: Act) -> Done:
    """The named decision by which a piece joins a closed set for life."""
    base, row = lock_tray(tray), lock_piece(piece)
    need(Right.DECIDE, "join to a closed set", row.code, act)
    reason = reason_given(reason, "join to a closed set", row.code)
    findings = tuple(_joining_facts(row, base))
    if findings:
        raise Refused(*findings)
    ClosedMember.objects.create(piece=row, tray=base)
    write_line(PieceLine, row, "join_closed_set", act, reason=reason, evidence={"tray": base.code})
    return Done.of("join_closed_set", row, f"{row.code} joined {base.name} for life.")


def _joining_facts(piece: Piece, tray: Tray) -> Iterator[Finding]:
    """A piece joins one set only, and not while it is part of something else."""
    for found, slug, why, remedy in (
        (
            not tray.closed,
            "set-not-closed",
            "the set is open, must be closed",
            "Nothing is needed: an open set takes any fitting piece.",
        ),
        (
            ClosedMember.objects.filter(piece=piece).exists(),
            "closed-set",
            "it belongs to a closed set already",
            "Take a piece that belongs to none.",
        ),
        (
            Placement.objects.filter(piece=piece).exists() or Carried.objects.filter(piece=piece).exists(),
            "piece-engaged",
            f"it is {piece.state} with other pieces, must be by itself",
            "Take it off its tray, or wait until its pack has ended.",
        ),
        (
            piece.state == PieceState.WITHDRAWN,
            "wrong-state",
            f"it is {piece.state}, must be in the unit's stock",
            "Take another piece.",
        ),
    ):
        if found:
            yield stop(slug, piece.code, f"Cannot join {piece.code} to {tray.name}: {why}.", remedy)
