"""Half a year of upkeep: lots of chemicals, periodic tests of machines and their water, residual protein."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from config.demo.unit import MASTER
from config.demo.work import WASHERS, Unit
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Act
from reprocessing.actions import ask_periodic_test, check_protein, put_lot_in_use, record_periodic_test
from reprocessing.models import Machine, PeriodicTest
from reprocessing.reads.residue import last_wash
from reprocessing.states import MachineKind

RINSE = "AS/NZS 4187:2014, final rinse, as a testing laboratory quotes it"
PRACTICE = "common practice, no source"
FEED = "EN 285, feed water of a steam generator, from memory"

LOTS = (("Mild alkaline detergent", "DT-2207", 178, 400), ("Mild alkaline detergent", "DT-2219", 61, 5),
        ("Neutraliser", "NE-0418", 178, 300))  # fmt: skip
"""Product, lot, connected so many days ago, expires so many days from now."""

TESTS: tuple[tuple[MachineKind, str, int, str, dict[str, Any]], ...] = (
    (MachineKind.WASHER, "Weekly safety checks", 7, PRACTICE, {}),
    (MachineKind.WASHER, "Cleaning efficacy by test soil", 91, PRACTICE, {}),
    (MachineKind.WASHER, "Yearly requalification", 365, PRACTICE, {"forbids_start": True}),
    (MachineKind.WASHER, "Final rinse: conductivity", 91, RINSE, {"unit": "µS/cm", "most": 30.0}),
    (MachineKind.WASHER, "Final rinse: total hardness", 91, RINSE, {"unit": "mg/L CaCO3", "most": 50.0}),
    (MachineKind.WASHER, "Final rinse: total viable count", 91, RINSE, {"unit": "cfu/100 mL", "most": 100.0}),
    (MachineKind.WASHER, "Final rinse: endotoxin", 365, RINSE, {"unit": "EU/mL", "most": 0.25}),
    (MachineKind.STEAM, "Weekly safety checks", 7, PRACTICE, {}),
    (MachineKind.STEAM, "Yearly requalification", 365, PRACTICE, {"forbids_start": True}),
    (MachineKind.STEAM, "Feed water: conductivity", 91, FEED, {"unit": "µS/cm", "most": 5.0}),
    (MachineKind.LOW_TEMPERATURE, "Yearly requalification", 365, PRACTICE, {"forbids_start": True}),
)
"""What is asked for, of which kind of machine, every so many days, and where that comes from."""

DONE_AGO = {7: (24, 17, 10, 3), 91: (170, 82), 365: (150,)}
"""By its period, when each test was done [d ago]."""
TYPICAL = {"µS/cm": 3.2, "mg/L CaCO3": 12.0, "cfu/100 mL": 4.0, "EU/mL": 0.05}
OVERDUE = ("Washer 2", "Final rinse: total viable count")
OUT_OF_LIMIT = ("Washer 1", "Final rinse: conductivity")
"""Of one the second result lacks; the first result of the other was out of limit."""


def upkeep(unit: Unit) -> None:
    """Lots, tests and checks, each at its own moment; an earlier load is linked by the time in which it ran."""
    for washer in Machine.objects.filter(kind=MachineKind.WASHER).order_by("code"):
        for product, lot, ago, expires_in in LOTS:
            expires = timezone.localdate() + timedelta(days=expires_in)
            opened = timezone.localdate(_ago(ago))
            put_lot_in_use(
                washer.code, product, lot, expires=expires, opened=opened, act=_act(unit, "tech1", _ago(ago))
            )
    for kind, name, every_days, source, fields in TESTS:
        about = "water" if "unit" in fields else "machine"
        test = ask_periodic_test(
            kind, name, every_days=every_days, source=source, about=about, **fields, act=_act(unit, MASTER, _ago(179))
        ).pk
        for machine in Machine.objects.filter(kind=kind).order_by("code"):
            _results(unit, machine, PeriodicTest.objects.get(pk=test))
    _protein(unit)


def _ago(days: int) -> datetime:
    return (timezone.localtime() - timedelta(days=days)).replace(hour=7, minute=30, second=0, microsecond=0)


def _act(unit: Unit, sign_in: str, at: datetime) -> Act:
    return Act(by=unit.people[sign_in], at=at)


def _results(unit: Unit, machine: Machine, test: PeriodicTest) -> None:
    here = (machine.name, test.name)
    for number, ago in enumerate(DONE_AGO[test.every_days]):
        if here == OVERDUE and number:
            continue
        said: dict[str, Any] = {"passed": True}
        if test.unit:
            wrong = here == OUT_OF_LIMIT and not number
            said = {"value": 41.0 if wrong else TYPICAL[test.unit], "reported_by": "Water laboratory"}
            said["less_than"] = test.unit == "EU/mL"
        record_periodic_test(machine.code, test.pk, **said, act=_act(unit, "tech1", _ago(ago)))


def _protein(unit: Unit) -> None:
    """The first washer's pieces were sampled twice; the second washer's never."""
    spare = Piece.objects.filter(state=PieceState.INSPECTED).order_by("code")
    for ago in (110, 19):
        washed = ((piece, last_wash(piece, _ago(ago))) for piece in spare)
        first = [piece for piece, load in washed if load and load.machine.name == WASHERS[0]]
        for piece in unit.dice.sample(first, 3):
            found_ug = round(unit.dice.uniform(0.4, 2.6), 1)
            act = _act(unit, "tech2", _ago(ago))
            check_protein(piece.code, "Fluorescence in place", ug_per_side=found_ug, act=act)
