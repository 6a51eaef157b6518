"""A working unit in a few verbs: wash, assemble, sterilise, use. Every step is the real action."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from config.demo.unit import FIXTURES
from instruments.actions import inspect
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Act
from journal.models import Person
from lists.actions import count_piece, discard_piece, end_case, issue, open_pack, take_back
from reprocessing.actions import (
    add_pack,
    add_piece,
    attach_trace,
    open_load,
    place_indicator,
    read_indicator,
    record_test,
    release,
    start_load,
    unload,
)
from reprocessing.models import Load, Machine
from reprocessing.reads import tests_due
from reprocessing.states import IndicatorKind
from trays.actions import finish_tray, join_closed_set, put_on_tray, store
from trays.models import Carried, ClosedMember, Pack, Tray
from trays.reads import published_version
from trays.states import PackState

SHELF = "STORE-A"
TRAP = "TR-1"
WASHERS = ("Washer 1", "Washer 2")
STERILISERS = ("Steriliser 1", "Steriliser 2")


@dataclass(slots=True)
class Unit:
    """The people at work, a clock, and the dice of the demo (fixed seed)."""

    people: dict[str, Person]
    now: datetime
    dice: random.Random

    def act(self, sign_in: str) -> Act:
        """The act of a person now."""
        return Act(by=self.people[sign_in], at=self.now, method="password")

    def later(self, minutes: float) -> None:
        """Let time pass."""
        self.now += timedelta(minutes=minutes)


def recorded(name: str, dice: random.Random) -> str:
    """A trace like the fixture of that name, with its own noise of a few hundredths of a kelvin."""
    header, *rows = (FIXTURES / "traces" / f"{name}.csv").read_text().splitlines()
    columns = header.split(",")
    lines = [header]
    for row in rows:
        cells = row.split(",")
        lines.append(
            ",".join(
                f"{float(cell) + dice.uniform(-0.03, 0.03):.2f}" if column.endswith("_c") else cell
                for column, cell in zip(columns, cells, strict=True)
            )
        )
    return "\n".join(lines) + "\n"


def pass_due_tests(unit: Unit) -> None:
    """Every machine passes the tests that its machine day still asks for."""
    for machine in Machine.objects.all():
        for standing in tests_due(machine, unit.now):
            record_test(machine.code, standing.kind, passed=True, act=unit.act("tech1"))


def _machine(name: str) -> str:
    return Machine.objects.get(name=name).code


def wash(unit: Unit, pieces: Sequence[Piece], *, washer: str = WASHERS[0], release_it: bool = True) -> Load:
    """One washer load of returned pieces, started, unloaded, judged and released."""
    pass_due_tests(unit)
    code = open_load(_machine(washer), "W90", act=unit.act("tech1")).mark
    for piece in pieces:
        add_piece(code, piece.code, act=unit.act("tech1"))
    start_load(code, cycle_number=str(unit.dice.randrange(1000, 9999)), caps_open=True, act=unit.act("tech1"))
    unit.later(75)
    unload(code, dosing_recorded=True, act=unit.act("tech1"))
    attach_trace(code, f"{code}.csv", recorded("washer_good", unit.dice), act=unit.act("tech1"))
    if release_it:
        release(code, act=unit.act("release1"))
    return Load.objects.get(code=code)


def inspect_all(unit: Unit, pieces: Iterable[Piece]) -> None:
    """The eye and the tests find nothing."""
    for piece in pieces:
        function = True if piece.part.function_test else None
        insulation = True if piece.part.insulated else None
        inspect(piece.code, clean=True, function=function, insulation=insulation, act=unit.act("tech2"))


def lay_out(unit: Unit, tray: Tray, *, leave_out: Sequence[str] = ()) -> None:
    """Put inspected pieces on a tray, line by line; `leave_out` names part codes that stay off."""
    free: dict[int, list[Piece]] = defaultdict(list)
    members = set(ClosedMember.objects.exclude(tray=tray).values_list("piece_id", flat=True))
    for piece in Piece.objects.filter(state=PieceState.INSPECTED).exclude(pk__in=members).order_by("cycles", "code"):
        free[piece.part_id].append(piece)
    for line in published_version(tray.template).lines.select_related("part"):
        if line.part.code in leave_out:
            continue
        for _ in range(line.quantity):
            piece = free[line.part_id].pop(0)
            if tray.closed and not ClosedMember.objects.filter(piece=piece).exists():
                join_closed_set(piece.code, tray.code, reason="first filling of the set", act=unit.act("quality1"))
            put_on_tray(piece.code, tray.code, act=unit.act("nurse1"))


def assemble(unit: Unit, tray: Tray) -> Pack:
    """Lay a tray out and finish it."""
    lay_out(unit, tray)
    unit.later(15)
    return Pack.objects.get(code=finish_tray(tray.code, act=unit.act("nurse1")).mark)


def sterilise(unit: Unit, packs: Sequence[Pack], *, steriliser: str = STERILISERS[0], until: str = "store") -> Load:
    """One steriliser load, as far as `until`: "start", "unload" (evidence in, not decided), "release" or "store"."""
    pass_due_tests(unit)
    code = open_load(_machine(steriliser), "S134", act=unit.act("tech1")).mark
    for pack in packs:
        add_pack(code, pack.code, act=unit.act("tech1"))
    start_load(code, cycle_number=str(unit.dice.randrange(1000, 9999)), caps_open=True, act=unit.act("tech1"))
    if until == "start":
        return Load.objects.get(code=code)
    unit.later(55)
    unload(code, act=unit.act("tech1"))
    attach_trace(code, f"{code}.csv", recorded("steam_134_good", unit.dice), act=unit.act("tech1"))
    place_indicator(code, IndicatorKind.CHEMICAL, f"CI-{unit.now:%y%m}", act=unit.act("tech1"))
    load = Load.objects.get(code=code)
    for indicator in load.indicators.all():
        read_indicator(code, indicator.pk, passed=True, act=unit.act("tech1"))
    if until != "unload":
        unit.later(10)
        release(code, act=unit.act("release1"))
    if until == "store":
        for pack in packs:
            store(pack.code, SHELF, act=unit.act("tech1"))
    return load


def use(unit: Unit, pack: Pack, case: str, *, trap: bool = False) -> list[Piece]:
    """Issue a pack to a case, open it, and count every piece back; with a specimen trap if the case took one."""
    if trap:
        use_trap(unit, case)
    issue(pack.code, case, barrier_intact=True, act=unit.act("nurse1"))
    unit.later(5)
    open_pack(pack.code, case, act=unit.act("nurse1"))
    unit.later(60)
    end_case(case, act=unit.act("nurse1"))
    take_back(pack.code, act=unit.act("tech1"))
    codes = list(Carried.objects.filter(pack=pack).values_list("piece__code", flat=True))
    for code in codes:
        count_piece(code, act=unit.act("tech1"))
    return list(Piece.objects.filter(code__in=codes).select_related("part"))


def use_trap(unit: Unit, case: str) -> None:
    """Open a specimen trap for a case, the one that expires first; it comes back and is discarded by record."""
    shelf = Pack.objects.filter(state=PackState.STERILE, contents__part_code=TRAP).order_by("use_by", "code")
    pack = shelf[0]
    issue(pack.code, case, barrier_intact=True, act=unit.act("nurse1"))
    open_pack(pack.code, case, act=unit.act("nurse1"))
    take_back(pack.code, act=unit.act("tech1"))
    trap = Carried.objects.get(pack=pack).piece.code
    discard_piece(trap, reason="single use, used", act=unit.act("tech1"))
