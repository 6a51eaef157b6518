"""Histories: a piece and a pack with everything before and after them. They reach up to cases, so they live here."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from instruments.forms import MarkForm
from instruments.life import beyond_inspection, due_soon
from instruments.models import Piece
from instruments.reads import last_repairs
from instruments.states import PieceState
from instruments.verbs import piece_offers
from journal.doors import person_of
from journal.reads import policy
from journal.roles import Right
from lists.reads import pack_history, piece_history
from lists.trail import told
from trays.models import Pack
from trays.reads import label_standing, version_in_force
from trays.verbs import pack_offers


@require_safe
def piece(request: HttpRequest, code: str) -> HttpResponse:
    """A piece: its marks, its life, its washes, packs and cases, and its trail."""
    row = get_object_or_404(
        Piece.objects.select_related("part__size__series", "place", "loan").prefetch_related("marks"), code=code
    )
    history = piece_history(row)
    rights = person_of(request).rights
    today = timezone.localdate()
    context = {
        "piece": row,
        "history": history,
        "packs": history.packs[::-1],
        "washes": history.washes[::-1],
        "trail": told(history.lines),
        "may_prove": Right.DECIDE in person_of(request).rights,
        "groups": piece_offers(row, rights),
        "against": () if row.state == PieceState.WITHDRAWN else beyond_inspection(row.wear, today),
        "due": due_soon(row.wear, today, **_ahead()),
        "repair": last_repairs([row]).get(row.pk) if row.state == PieceState.IN_REPAIR else None,
        "mark_form": MarkForm() if Right.MASTER in rights else None,
    }
    return render(request, "lists/piece.html", context)


def _ahead() -> dict[str, int]:
    """How long before its end a piece's life is shown to end."""
    return {"service_days": int(policy("service_soon_days")), "cycles_left": int(policy("cycles_left_soon"))}


@require_safe
def pack(request: HttpRequest, code: str) -> HttpResponse:
    """A pack: its frozen contents, the loads it went through, its cases, and its trail."""
    row = get_object_or_404(
        Pack.objects.select_related("tray", "version", "place", "assembled_by", "incomplete_second"), code=code
    )
    history = pack_history(row)
    context = {
        "pack": row,
        "path": history.path,
        "trail": told(history.lines),
        "label": label_standing(row),
        "may_prove": Right.DECIDE in person_of(request).rights,
        "offers": pack_offers(row, person_of(request).rights),
        "in_force": version_in_force(row.version) if row.version else None,
    }
    return render(request, "lists/pack.html", context)
