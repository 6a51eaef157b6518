"""Makers of machines, records and loads, on top of the common ones.

A machine's tests are passed at 06:00, a load starts at 09:00 and is unloaded at 10:00, decided at 10:10.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any, TypeVar

import pytest
from django.db import transaction

from instruments.identity import Kind
from instruments.models import Piece, Programme, ProgrammeKind
from instruments.states import PieceState
from instruments.writer import new_code
from journal.findings import Refused
from journal.models import Person, PolicySetting
from journal.policies import PolicyValue
from journal.roles import Role
from reprocessing import actions, states
from reprocessing.models import Load, Machine, ProgrammePhase
from reprocessing.steam import saturation_pressure_bar_abs
from tests import makers
from tests.makers import AT, act
from trays import actions as tray_actions
from trays.models import Pack

MORNING = AT - timedelta(hours=3)
ENDED = AT + timedelta(hours=1)
DECIDED = ENDED + timedelta(minutes=10)

PROGRAMMES = {
    states.MachineKind.WASHER: ("W90", ProgrammeKind.WASH),
    states.MachineKind.STEAM: ("S134", ProgrammeKind.STEAM),
    states.MachineKind.LOW_TEMPERATURE: ("LT", ProgrammeKind.LOW_TEMPERATURE),
}
_numbers = itertools.count(1)


def policy(name: str, value: PolicyValue) -> None:
    """Set a policy of the unit."""
    PolicySetting.objects.update_or_create(name=name, defaults={"value": value, "reason": "test"})


def refused(call: Callable[[], object]) -> list[str]:
    """Slugs of what a call is refused for; the test fails when it is not."""
    with pytest.raises(Refused) as refusal:
        call()
    return [finding.slug for finding in refusal.value.findings]


def technician() -> Person:
    """Somebody who builds loads and may not release them."""
    return makers.person(Role.TECHNICIAN)


def releaser() -> Person:
    """Somebody who may build and release."""
    return makers.person(Role.RELEASER)


# Machines


def machine(
    kind: states.MachineKind = states.MachineKind.STEAM,
    *,
    tested: bool = True,
    programmes: Iterable[Programme] = (),
    **fields: Any,
) -> Machine:
    """A machine of this kind with its usual programme and others, its tests of the day passed."""
    with transaction.atomic():
        code = new_code(Kind.MACHINE)
    made = Machine.objects.create(code=code, kind=kind, **{"name": f"Machine {code}", **fields})
    usual, of_kind = PROGRAMMES[kind]
    made.programmes.add(makers.programme(usual, kind=of_kind), *programmes)
    for test in states.DAY_TESTS[kind] if tested else ():
        actions.record_test(code, test, passed=True, act=act(at=MORNING))
    return made


def washer(**fields: Any) -> Machine:
    """A washer-disinfector."""
    return machine(states.MachineKind.WASHER, **fields)


def phase(of: Programme, phase: str, quantity: str, unit: str, **limits: float) -> ProgrammePhase:
    """A limit of a low-temperature programme."""
    return ProgrammePhase.objects.create(programme=of, phase=phase, quantity=quantity, unit=unit, **limits)


def washing(on: Machine | None = None, by: Person | None = None) -> Load:
    """A washer load with one returned piece in it, not started."""
    return load(on or washer(), makers.piece(state=PieceState.RETURNED), by=by)


def cycled(on: Machine, count: int | None = None, *, at: datetime = AT) -> list[Load]:
    """Test loads of a machine, passed one after the other; as many as the unit asks for."""
    number = (1 if on.washes else 3) if count is None else count
    return [ran_empty(on, at=at) for _ in range(number)]


def ran_empty(on: Machine, *, at: datetime = AT, passed: bool = True) -> Load:
    """A test load that holds nothing, ended and released; its indicator read if it is a steriliser's."""
    row = load(on, kind=states.LoadKind.TEST)
    actions.start_load(row.code, caps_open=False, act=act(at=at))
    actions.unload(row.code, act=act(at=at))
    if not on.washes:
        actions.place_indicator(row.code, states.IndicatorKind.BIOLOGICAL, "LOT 7", act=act(at=at))
        actions.read_indicator(row.code, row.indicators.get().pk, passed=passed, act=act(at=at))
    actions.release(row.code, alone="test load", act=act(at=at))
    return _again(row)


# Records: each is a file of its own, told apart by a column that nobody reads.


def steam_trace(*, hold_s: int = 200, plateau_c: float = 134.5, superheat_k: float = 0.0) -> str:
    """A log of a saturated-steam cycle: two probes, one gauge, a row every 5 s."""
    number = next(_numbers)
    rows = ["t_s,cycle,p1_c,p2_c,chamber_bar_abs"]
    for at, celsius in enumerate(_ramp(60.0, plateau_c, hold_s)):
        pressure = float(saturation_pressure_bar_abs(celsius))
        hot = celsius + superheat_k
        rows.append(f"{at * 5},{number},{hot:.2f},{hot - 0.2:.2f},{pressure:.4f}")
    return "\n".join(rows)


def wash_trace(*, hold_s: int = 300) -> str:
    """A log of a wash with thermal disinfection at 90 °C."""
    number = next(_numbers)
    rows = ["t_s,cycle,p1_c"]
    rows += [f"{at * 5},{number},{celsius:.2f}" for at, celsius in enumerate(_ramp(20.0, 90.0, hold_s))]
    return "\n".join(rows)


def phase_record(value: float = 30.0) -> str:
    """What a low-temperature machine records of a phase called exposure."""
    return f"phase,quantity,unit,value\nexposure,duration,min,{value}\nnote,cycle,no,{next(_numbers)}\n"


def _ramp(cold_c: float, hot_c: float, hold_s: int) -> Iterator[float]:
    """Up by 1.5 K a step, held, and down again."""
    steps = int((hot_c - cold_c) / 1.5)
    up = [cold_c + step * (hot_c - cold_c) / steps for step in range(steps)]
    yield from up
    yield from [hot_c] * (hold_s // 5 + 1)
    yield from reversed(up)


# Loads


def load(on: Machine | None = None, *things: Pack | Piece, by: Person | None = None, **fields: Any) -> Load:
    """A load that is being built, with these packs or pieces in it."""
    on = on or machine()
    programme = fields.pop("programme", PROGRAMMES[states.MachineKind(on.kind)][0])
    code = actions.open_load(on.code, programme, **fields, act=act(by)).mark
    for thing in things:
        add = actions.add_pack if isinstance(thing, Pack) else actions.add_piece
        add(code, thing.code, act=act(by))
    return Load.objects.get(code=code)


def running(of: Load | None = None, *, by: Person | None = None, at: datetime = AT) -> Load:
    """A load that runs; one with a pack in it when none is named."""
    of = of or load(None, makers.pack(), by=by)
    actions.start_load(of.code, cycle_number="17", caps_open=True, act=act(by, at=at))
    return _again(of)


def ended(of: Load | None = None, *, by: Person | None = None, at: datetime = ENDED, **fields: Any) -> Load:
    """A load that is unloaded and waits for its evidence."""
    of = _again(of or running(by=by))
    if of.state == states.LoadState.BUILDING:
        of = running(of, by=by)
    fields.setdefault("dosing_recorded", True if of.machine.washes else None)
    actions.unload(of.code, **fields, act=act(by, at=at))
    return _again(of)


def complete(of: Load | None = None, *, by: Person | None = None, record: str = "") -> Load:
    """A load that waits for its decision with its evidence complete; built by one technician if none is named."""
    by = by or technician()
    of = _again(of or ended(by=by))
    if of.state != states.LoadState.AWAITING_RELEASE:
        of = ended(of, by=by)
    usual: dict[ProgrammeKind, Callable[[], str]] = {
        ProgrammeKind.WASH: wash_trace,
        ProgrammeKind.STEAM: steam_trace,
        ProgrammeKind.LOW_TEMPERATURE: phase_record,
    }
    content = record or usual[ProgrammeKind(of.programme.kind)]()
    actions.attach_trace(of.code, "cycle.csv", content, act=act(by, at=ENDED))
    if not of.machine.washes:
        indicator(of, passed=True, by=by)
    return _again(of)


def indicator(
    of: Load,
    kind: states.IndicatorKind = states.IndicatorKind.CHEMICAL,
    *,
    passed: bool | None = None,
    by: Person | None = None,
) -> int:
    """An indicator of the load, read if `passed` says how; its key."""
    actions.place_indicator(of.code, kind, "LOT 7", act=act(by, at=ENDED))
    key = int(of.indicators.order_by("-pk").values_list("pk", flat=True)[0])
    if passed is not None:
        actions.read_indicator(of.code, key, passed=passed, act=act(by, at=ENDED))
    return key


def released(of: Load | None = None, *, by: Person | None = None) -> Load:
    """A load that somebody else than its builder released."""
    of = complete(of)
    actions.release(of.code, act=act(by or releaser(), at=DECIDED))
    return _again(of)


def _again(of: Load) -> Load:
    return Load.objects.select_related("machine", "programme").get(pk=of.pk)


def immediate(part: Any) -> Pack:
    """A piece wrapped in nothing, for immediate use."""
    piece = makers.piece(part)
    done = tray_actions.pack_single(piece.code, immediate=True, reason="dropped", patient_ref="REF-1", act=act())
    return Pack.objects.get(code=done.mark)


# Races

WRITERS = 8
T = TypeVar("T", bound=Callable[..., None])


def race(test: T) -> T:
    """Mark a test that needs committed rows and several connections."""
    marked: T = pytest.mark.locking(pytest.mark.django_db(transaction=True)(test))
    return marked


def one_of(results: list[object]) -> object:
    """The one answer among refusals."""
    answers = [result for result in results if not isinstance(result, Refused)]
    assert len(answers) == 1, results
    return answers[0]


def packs_in(load: Load) -> list[Pack]:
    """Every pack that is or was in a load."""
    return list(Pack.objects.filter(load_packs__load=load).order_by("pk"))
