"""A long random day: whatever is tried, states are what the trail says, and nothing is in two places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import timedelta
from random import Random
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import Count, Q

from instruments.actions import inspect
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import trails
from journal.findings import Refused
from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Doubt, Load, Machine
from reprocessing.states import LoadState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from trays import actions as tray_actions
from trays.models import Carried, Pack
from trays.states import PackState

pytestmark = [pytest.mark.storage, pytest.mark.django_db]
STEPS = 250


class Walk:
    """One unit with a few pieces, and somebody who tries one thing after another."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.people = [makers.person(Role.RELEASER, Role.QUALITY, Role.NURSE) for _ in range(2)]
        self.machines = [make.washer(), make.machine(capacity=3)]
        for _ in range(8):
            makers.piece(state=PieceState.RETURNED)
        self.at = AT
        self.done: Counter[str] = Counter()

    def any_of(self, rows: Iterable[Any]) -> Any:
        return self.random.choice(list(rows))

    def piece(self, state: PieceState) -> str:
        """Mostly a piece that the verb may be done to; now and then any."""
        rows = Piece.objects.filter(state=state) if self.random.random() < 0.9 else Piece.objects.all()
        return str(self.any_of(rows.order_by("pk").values_list("code", flat=True)))

    def step(self) -> None:
        """Try a verb for which there is a subject; a refusal must leave everything as it was."""
        self.at += timedelta(minutes=1)
        (name,) = self.random.choices(list(VERBS), [weight for weight, _ in VERBS.values()])
        before = lines()
        try:
            VERBS[name][1](self, act(self.any_of(self.people), at=self.at))
        except Refused:
            assert lines() == before
        except IndexError:
            self.step()
        else:
            self.done[name] += 1


def lines() -> int:
    """How far the trail has come: the last numbers of its tables, added up."""
    last = " + ".join(f"(SELECT COALESCE(MAX(id), 0) FROM {kind._meta.db_table})" for kind in trails().values())
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {last}")
        return int(cursor.fetchone()[0])


def loads(*states: LoadState, washes: bool | None = None) -> list[str]:
    rows = Load.objects.filter(state__in=states)
    if washes is not None:
        rows = rows.filter(machine__kind="washer-disinfector" if washes else "steam steriliser")
    return list(rows.order_by("pk").values_list("code", flat=True))


def packs(*states: PackState) -> list[str]:
    return list(Pack.objects.filter(state__in=states or list(PackState)).order_by("pk").values_list("code", flat=True))


B, R, W, F = LoadState.BUILDING, LoadState.RUNNING, LoadState.AWAITING_RELEASE, LoadState.RELEASED


def evidence(walk: Walk, by: Any) -> None:
    code = walk.any_of(loads(W))
    load = Load.objects.get(code=code)
    content = make.wash_trace() if load.machine.washes else make.steam_trace()
    actions.attach_trace(code, "cycle.csv", content, act=by)
    if not load.machine.washes:
        actions.place_indicator(code, "chemical", "7", act=by)
        key = load.indicators.latest("pk").pk
        actions.read_indicator(code, key, passed=walk.random.random() < 0.9, act=by)


def start(walk: Walk, by: Any) -> None:
    actions.start_load(walk.any_of(loads(B)), caps_open=walk.random.random() < 0.9, act=by)


def unload(walk: Walk, by: Any) -> None:
    code = walk.any_of(loads(R))
    inside = list(Pack.objects.filter(load_packs__load__code=code).values_list("code", flat=True))
    faults: dict[str, list[str]] = {"wet": [], "torn": [], "dropped": []}
    for pack in inside:
        if walk.random.random() < 0.2:
            faults[walk.random.choice(sorted(faults))].append(pack)
    said = {name: tuple(codes) for name, codes in faults.items()}
    actions.unload(code, **said, dosing_recorded=True, act=by)


def reject(walk: Walk, by: Any) -> None:
    code = walk.any_of(loads(R, W))
    inside = list(Pack.objects.filter(load_packs__load__code=code).values_list("code", flat=True))
    actions.reject(code, reason="wet", soiled=tuple(inside[:1]), act=by)


def open_load(walk: Walk, by: Any) -> None:
    machine = walk.any_of(walk.machines)
    actions.open_load(machine.code, machine.programmes.get().code, act=by)


def add_piece(walk: Walk, by: Any) -> None:
    actions.add_piece(walk.any_of(loads(B, washes=True)), walk.piece(PieceState.RETURNED), act=by)


def add_pack(walk: Walk, by: Any) -> None:
    actions.add_pack(walk.any_of(loads(B, washes=False)), walk.any_of(packs(PackState.ASSEMBLED)), act=by)


def take_off(walk: Walk, by: Any) -> None:
    actions.take_off_load(walk.any_of(loads(B)), walk.any_of(packs(PackState.IN_STERILISER)), act=by)


def take_out(walk: Walk, by: Any) -> None:
    actions.take_out_of_load(walk.any_of(loads(B)), walk.piece(PieceState.IN_WASHER), act=by)


def pack(walk: Walk, by: Any) -> None:
    tray_actions.pack_single(walk.piece(PieceState.INSPECTED), act=by)


def look_at(walk: Walk, by: Any) -> None:
    inspect(walk.piece(PieceState.CLEANED), clean=walk.random.random() < 0.9, act=by)


def condemn(walk: Walk, by: Any) -> None:
    tray_actions.condemn_pack(walk.any_of(packs(PackState.QUARANTINED)), reason="unclear", act=by)


def scrap(walk: Walk, by: Any) -> None:
    tray_actions.scrap_pack(walk.any_of(packs(PackState.RECALLED)), act=by)


def take_apart(walk: Walk, by: Any) -> None:
    tray_actions.take_apart(walk.any_of(packs(PackState.ASSEMBLED)), reason="torn wrap", act=by)


def hold(walk: Walk, by: Any) -> None:
    tray_actions.quarantine_pack(walk.any_of(packs()), reason="dropped", act=by)


def fail_test(walk: Walk, by: Any) -> None:
    actions.record_test(walk.machines[1].code, "air leakage", passed=False, act=by)


def mend(walk: Walk, by: Any) -> None:
    code = walk.any_of(Machine.objects.filter(state="out of service")).code
    with transaction.atomic():
        if walk.random.random() < 0.8:
            actions.record_test(code, "air leakage", passed=True, act=by)
        make.cycled(Machine.objects.get(code=code), at=by.at)
        actions.return_to_service(code, reason="seal changed", act=by)


def decide(walk: Walk, by: Any) -> None:
    doubt = walk.any_of(Doubt.objects.filter(decided_at=None).order_by("pk"))
    recall = walk.random.random() < 0.3
    actions.decide_doubt(doubt.load.code, doubt.test_id, decision="weighed", recall=recall, act=by)


VERBS: dict[str, tuple[int, Callable[[Walk, Any], object]]] = {
    "open_load": (3, open_load),
    "add_piece": (8, add_piece),
    "add_pack": (8, add_pack),
    "take_off_load": (1, take_off),
    "take_out_of_load": (1, take_out),
    "start_load": (4, start),
    "unload": (6, unload),
    "evidence": (5, evidence),
    "release": (5, lambda walk, by: actions.release(walk.any_of(loads(W)), alone="night", act=by)),
    "reject": (1, reject),
    "recall_load": (1, lambda walk, by: actions.recall_load(walk.any_of(loads(F)), reason="failed", act=by)),
    "inspect": (8, look_at),
    "pack_single": (6, pack),
    "quarantine_pack": (1, hold),
    "condemn_pack": (2, condemn),
    "scrap_pack": (3, scrap),
    "take_apart": (1, take_apart),
    "record_test": (1, fail_test),
    "return_to_service": (4, mend),
    "decide_doubt": (2, decide),
}


def assert_states_are_the_fold_of_the_trail() -> None:
    for kind, begins in ((Piece, ""), (Pack, ""), (Load, ""), (Machine, "in service")):
        said = dict.fromkeys(kind._default_manager.values_list("pk", flat=True), begins)
        subject = str(kind._meta.model_name)
        trail = trails()[subject]._default_manager.order_by("pk")
        for key, origin, target in trail.values_list(f"{subject}_id", "origin", "target"):
            assert not origin or origin == said[key], (kind, key)
            said[key] = target or said[key]
        assert said == dict(kind._default_manager.values_list("pk", "state"))


def assert_nothing_is_in_two_places() -> None:
    """Never 1, 2 and 3 as they stand in the tables."""
    in_open = Q(load_pieces__open=True)
    assert not Piece.objects.annotate(times=Count("load_pieces", filter=in_open)).filter(times__gt=1).exists()
    assert not Pack.objects.annotate(times=Count("load_packs", filter=Q(load_packs__open=True))).filter(times__gt=1)
    assert not Carried.objects.exclude(piece__state="packed").exists()
    assert Piece.objects.filter(state="packed").count() == Carried.objects.count()
    assert Piece.objects.filter(state="in washer").count() == Piece.objects.filter(in_open).count()
    sterile = Pack.objects.filter(state=PackState.STERILE)
    assert not sterile.exclude(load_packs__load__state=LoadState.RELEASED).exists()
    assert not sterile.filter(load_packs__load__in=Load.objects.exclude(state=LoadState.RELEASED)).exists()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_trail_says_where_everything_is(seed: int) -> None:
    walk = Walk(seed)
    for number in range(STEPS):
        walk.step()
        if number % 50 == 49:
            assert_states_are_the_fold_of_the_trail()
            assert_nothing_is_in_two_places()
    assert {"add_pack", "unload", "release", "reject", "recall_load", "decide_doubt"} <= set(walk.done)
