"""Six months of work: every tray turned round several times, with cases, loads and their evidence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone

from config.demo.work import STERILISERS, TRAP, WASHERS, Unit, assemble, inspect_all, sterilise, use, wash
from instruments.models import Piece
from instruments.states import PieceState
from lists.actions import plan_case
from trays.actions import receive_maker_pack
from trays.models import Pack, Tray

PROCEDURE = {"AD-BRO": "BRO-A", "CH-BRO": "BRO-C", "STENT": "BRO-A", "EMERG": "BRO-A", "OPT-FO": "OPT"}
TURNS = 3
TRAPS = (("LT-1107", 10, 38), ("LT-1140", 300, 2))
"""Lot, days until it expires, and how many were received."""
LEFT_ON_THE_SHELF = "Child tray B"  # its pack outlives its shelf life
FIRST_DAY = 182


def first_processing(unit: Unit) -> None:
    """New pieces are washed and inspected, and every tray is assembled and sterilised for the first time."""
    unit.now = _day(FIRST_DAY, 7)
    returned = list(Piece.objects.filter(state=PieceState.RETURNED).select_related("part").order_by("pk"))
    for start in range(0, len(returned), 120):
        batch = returned[start : start + 120]
        wash(unit, batch)
        inspect_all(unit, batch)
    packs = [assemble(unit, tray) for tray in Tray.objects.order_by("pk")]
    for start, steriliser in zip(range(0, len(packs), 6), STERILISERS * 4, strict=False):
        sterilise(unit, packs[start : start + 6], steriliser=steriliser)


def _day(ago: int, hour: int) -> datetime:
    day = timezone.localtime() - timedelta(days=ago)
    return day.replace(hour=hour, minute=0, second=0, microsecond=0)


def traps(unit: Unit) -> None:
    """Specimen traps of two lots; the first expires soon, and what is left by now is too little."""
    unit.now = _day(FIRST_DAY - 13, 7)
    today = timezone.localdate()
    for lot, days, number in TRAPS:
        for _ in range(number):
            expires = today + timedelta(days=days)
            receive_maker_pack(TRAP, lot=lot, expires=expires, barrier_intact=True, act=unit.act("tech1"))


def months(unit: Unit) -> None:
    """Groups of three trays are used on one day and processed the same evening."""
    trays = list(Tray.objects.exclude(name=LEFT_ON_THE_SHELF).order_by("pk"))
    groups = [trays[start : start + 3] for start in range(0, len(trays), 3)]
    days = range(FIRST_DAY - 14, 6, -(FIRST_DAY - 20) // (TURNS * len(groups)))
    for number, ago in enumerate(list(days)[: TURNS * len(groups)]):
        _one_day(unit, groups[number % len(groups)], ago, number)


def _one_day(unit: Unit, trays: Sequence[Tray], ago: int, number: int) -> None:
    unit.now = _day(ago, 6)
    unit.later(90)
    pieces: list[Piece] = []
    for place, tray in enumerate(trays):
        pack = Pack.objects.live().get(tray=tray)
        case = plan_case(
            f"H-{number:03d}-{place}",
            f"TH{1 + number % 2}",
            PROCEDURE[tray.template.code],
            unit.now + timedelta(minutes=10),
            60,
            patient_ref=f"PT-{unit.dice.randrange(16**6):06X}",
            act=unit.act("coord1"),
        ).mark
        pieces += use(unit, pack, case, trap=True)
        unit.later(15)
    wash(unit, pieces, washer=WASHERS[number % 2])
    inspect_all(unit, pieces)
    packs = [assemble(unit, tray) for tray in trays]
    sterilise(unit, packs, steriliser=STERILISERS[number % 2])
