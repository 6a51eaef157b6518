"""What must never happen on machines: nevers 5 and 6, asked of the real actions, and raced."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from instruments.models import Validation
from instruments.states import PieceState
from journal.findings import Refused
from reprocessing import actions, states
from reprocessing.models import Doubt, Load, LoadPack
from reprocessing.states import LoadState
from tests import makers
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED, WRITERS, one_of, race, refused
from trays.states import PackState

pytestmark = pytest.mark.storage
db = pytest.mark.django_db


# 5. No routine load on a machine that is not fit for it.


@db
def test_5_not_on_a_machine_out_of_service() -> None:
    load = make.load(None, makers.pack())
    actions.take_out_of_service(load.machine.code, reason="door seal", act=act())
    assert refused(lambda: make.running(load)) == ["machine-out-of-service"]


@db
def test_5_not_without_the_tests_of_the_machine_day() -> None:
    load = make.load(make.machine(tested=False), makers.pack())
    assert refused(lambda: make.running(load)) == ["test-due"] * 3


@pytest.mark.parametrize(
    ("at", "due"),
    [
        (AT.replace(hour=4, minute=59) + timedelta(days=1), 0),
        (AT.replace(hour=5, minute=0) + timedelta(days=1), 2),  # steam penetration and warm-up
        (AT.replace(hour=5, minute=0) + timedelta(days=7), 3),  # and air leakage
    ],
)
@db
def test_5_tests_count_until_the_machine_day_ends(at: datetime, due: int) -> None:
    load = make.load(None, makers.pack())
    if due:
        assert refused(lambda: make.running(load, at=at)) == ["test-due"] * due
    else:
        assert make.running(load, at=at).state == LoadState.RUNNING


@db
def test_5_a_later_failure_undoes_a_passed_test() -> None:
    load = make.load(None, makers.pack())
    actions.record_test(load.machine.code, "warm-up", passed=False, act=act())
    assert refused(lambda: make.running(load)) == ["test-due"]


@db
def test_5_test_and_requalification_loads_are_exempt_and_hold_nothing() -> None:
    machine = make.machine(tested=False)
    actions.take_out_of_service(machine.code, reason="repaired", act=act())
    for kind in (states.LoadKind.TEST, states.LoadKind.REQUALIFICATION):
        load = make.load(machine, kind=kind)
        pack = makers.pack()
        assert refused(lambda: actions.add_pack(load.code, pack.code, act=act())) == ["test-load-holds-nothing"]  # noqa: B023
        actions.start_load(load.code, caps_open=False, act=act())
        assert make.ended(load).state == LoadState.AWAITING_RELEASE
        actions.reject(load.code, reason="test load", act=act(at=DECIDED))


@pytest.mark.parametrize("kind", ["steam penetration", "air leakage"])
@db
def test_5_a_failed_test_ends_the_service_and_lists_every_load_since_the_last_passed_one(kind: str) -> None:
    machine = make.machine(capacity=1)
    before = make.released(make.load(machine, makers.pack()))
    actions.record_test(machine.code, kind, passed=True, act=act(at=DECIDED))
    after = [make.load(machine, makers.pack()) for _ in range(3)]
    for hour, load in enumerate(after, start=2):
        make.running(load, at=AT + timedelta(hours=hour))
        if hour < 4:
            actions.unload(load.code, act=act(at=AT + timedelta(hours=hour, minutes=30)))
    actions.reject(after[1].code, reason="aborted", act=act(at=AT + timedelta(hours=5)))
    other = make.released()
    done = actions.record_test(machine.code, kind, passed=False, act=act(at=AT + timedelta(hours=6)))
    assert done.state == states.MachineState.OUT_OF_SERVICE
    listed = list(Doubt.objects.order_by("load_id").values_list("load__code", flat=True))
    assert listed == [after[0].code, after[2].code]  # the rejected one went nowhere
    assert [finding["subject"] for finding in done.findings] == listed
    assert {before.code, other.code}.isdisjoint(listed)


@race
def test_5_a_machine_runs_one_of_eight_loads() -> None:
    machine = make.machine(capacity=1)
    loads = [make.load(machine, makers.pack()) for _ in range(WRITERS)]
    one_of(at_once(*(lambda load=load: make.running(load) for load in loads)))
    assert Load.objects.filter(machine=machine, state=LoadState.RUNNING).count() == 1


@race
def test_5_a_load_started_eight_times_starts_once() -> None:
    load = make.load(None, makers.pack())
    one_of(at_once(*(lambda: make.running(load) for _ in range(WRITERS))))
    assert load.lines.filter(verb="start").count() == 1


@race
def test_5_a_load_that_races_a_failed_test_is_refused_or_in_doubt() -> None:
    machine = make.machine(capacity=1)
    load = make.load(machine, makers.pack())
    started, tested = at_once(
        lambda: make.running(load),
        lambda: actions.record_test(machine.code, "steam penetration", passed=False, act=act()),
    )
    assert not isinstance(tested, Refused)
    assert isinstance(started, Refused) != Doubt.objects.filter(load=load).exists()


@race
def test_5_a_release_that_races_a_failed_test_is_refused_or_in_doubt() -> None:
    load = make.complete()
    by = make.releaser()
    _, tested = at_once(
        lambda: actions.release(load.code, act=act(by, at=DECIDED)),
        lambda: actions.record_test(load.machine.code, "air leakage", passed=False, act=act(at=DECIDED)),
    )
    assert not isinstance(tested, Refused)
    assert Doubt.objects.filter(load=load).exists()


# 6. No part in a programme that is not validated for it.


@db
def test_6_a_pack_with_a_part_not_validated_is_not_added() -> None:
    fit = makers.part()
    unfit = makers.part(programmes=[makers.programme("W90", kind="wash"), makers.programme("S121", set_c=121.0)])
    load = make.load(None, makers.single(makers.piece(fit)))
    pack = makers.single(makers.piece(unfit))
    assert refused(lambda: actions.add_pack(load.code, pack.code, act=act())) == ["programme-not-validated"]


@db
def test_6_a_piece_not_validated_for_the_wash_is_not_added() -> None:
    piece = makers.piece(makers.part(programmes=[makers.programme()]), state=PieceState.RETURNED)
    load = make.load(make.washer())
    assert refused(lambda: actions.add_piece(load.code, piece.code, act=act())) == ["programme-not-validated"]
    piece.refresh_from_db()
    assert piece.state == PieceState.RETURNED


@pytest.mark.parametrize("washes", [True, False])
@db
def test_6_a_validation_withdrawn_after_adding_keeps_the_load_from_starting(*, washes: bool) -> None:
    part = makers.part()
    thing = makers.piece(part, state=PieceState.RETURNED) if washes else makers.single(makers.piece(part))
    load = make.load(make.washer() if washes else make.machine(), thing)
    Validation.objects.filter(part=part).delete()
    assert refused(lambda: make.running(load)) == ["programme-not-validated"]


@race
def test_6_nothing_is_added_to_a_load_that_has_started() -> None:
    load = make.load(None, makers.pack())
    packs = [makers.pack() for _ in range(WRITERS - 1)]
    at_once(
        lambda: make.running(load),
        *(lambda pack=pack: actions.add_pack(load.code, pack.code, act=act()) for pack in packs),
    )
    verbs = list(load.lines.values_list("verb", flat=True))
    assert verbs[-1] == "start"
    assert verbs.count("add_pack") == LoadPack.objects.filter(load=load).count()
    inside = set(LoadPack.objects.filter(load=load).values_list("pack", flat=True))
    for pack in packs:
        pack.refresh_from_db()
        assert pack.state == (PackState.IN_STERILISER if pack.pk in inside else PackState.ASSEMBLED)


@race
def test_6_the_programme_of_an_empty_load_does_not_change_under_what_goes_in() -> None:
    machine = make.machine(programmes=[makers.programme("S121", set_c=121.0)])
    load, pack = make.load(machine), makers.pack()
    added, opened = at_once(
        lambda: actions.add_pack(load.code, pack.code, act=act()),
        lambda: actions.open_load(machine.code, "S121", act=act()),
    )
    assert not isinstance(opened, Refused)
    load.refresh_from_db()
    assert (load.programme.code == "S121") == isinstance(added, Refused)
