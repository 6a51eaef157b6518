"""The demo unit: every step a real action, and a list that shows every kind of verdict."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from instruments.models import Piece
from instruments.states import PieceState
from lists.reads import list_readiness
from lists.states import Readiness
from reprocessing.models import Load
from tests import makers
from trays.models import Tray

pytestmark = pytest.mark.django_db

VERDICTS = {
    "L-0401": (Readiness.COMPLETE, ""),
    "L-0402": (Readiness.COMPLETE_BY, "assembled"),
    "L-0403": (Readiness.COMPLETE_BY, "awaiting release"),
    "L-0404": (Readiness.SHORT, "Seal cap, adult 8.0"),
    "L-0405": (Readiness.SHORT, "in repair"),
    "L-0406": (Readiness.SHORT, "sheath"),
    "L-0407": (Readiness.SHORT, "was to be used until"),
    "L-0408": (Readiness.COMPLETE, ""),
    "L-0409": (Readiness.SHORT, "not in stock"),
    "L-0410": (Readiness.COMPLETE_BY, "is with case"),
}


def load_demo() -> str:
    out = StringIO()
    call_command("load_demo", stdout=out)
    return out.getvalue()


def test_the_demo_unit_shows_every_kind_of_verdict_and_loads_once() -> None:
    assert "airway-unit-demo" in load_demo()
    now = timezone.now()
    found = list_readiness(timezone.localdate(now) + timedelta(days=1), at=now)
    shown = {row.case.reference: row.readiness for row in found.rows}
    for reference, (verdict, reason) in VERDICTS.items():
        readiness = shown[reference]
        assert readiness is not None
        assert readiness.verdict == verdict, (reference, readiness)
        words = " ".join(finding.words for need in readiness.needs for finding in need.findings)
        assert reason in words, (reference, words)
    (standing,) = found.standing
    assert (standing.sterile, standing.minimum) == (2, 2)
    assert Tray.objects.count() == 12
    assert Piece.objects.filter(state=PieceState.MISSING).count() == 1
    assert Piece.objects.filter(state=PieceState.QUARANTINED).count() == 1

    before = Load.objects.count()
    assert "there already; nothing was changed" in load_demo()
    assert Load.objects.count() == before


def test_a_unit_of_its_own_is_not_mixed_with_the_demo() -> None:
    makers.part()
    with pytest.raises(CommandError, match="holds a catalogue of its own, must be empty"):
        load_demo()
