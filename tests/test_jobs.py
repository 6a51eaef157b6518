"""What the jobs tell: once, to the role concerned, with a way to the page, until the cause has gone."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from celery.contrib.testing.worker import start_worker
from celery.signals import before_task_publish, task_postrun
from django.utils import timezone

from config.celery import app
from instruments import actions as instrument_actions
from instruments.loans import PrionHistory
from instruments.models import Loan, Part, Piece
from instruments.states import PieceState
from instruments.tasks import watch_life, watch_loans
from journal.models import Notice
from journal.roles import Role
from journal.tasks import climb_notices, seal_trail, send_notices, watch_trail
from lists import actions
from lists.models import Case, StandingSet
from lists.tasks import (
    make_plan,
    print_go_sheets,
    take_in_lists,
    watch_cases,
    watch_changes,
    watch_completion,
    watch_days,
)
from reprocessing import actions as reprocessing_actions
from reprocessing.models import Doubt, Load, MachineTest
from reprocessing.states import IndicatorKind
from reprocessing.tasks import take_in_records, watch_decisions, watch_machines
from tests import makers
from tests.lists import makers as m
from tests.makers import act, at_once
from tests.reprocessing import makers as make
from trays import actions as tray_actions
from trays.models import Pack
from trays.tasks import watch_expiry, watch_stock

pytestmark = [pytest.mark.jobs, pytest.mark.django_db]

WORKER_S = 30
Told = tuple[str, str, str]


def told() -> list[Told]:
    """Cause, role and link of every open notice."""
    return sorted(Notice.objects.still_open().values_list("cause", "role", "link"))


def now_act() -> Any:
    return act(at=timezone.now())


# One cause of each kind: made, and taken away again


def _worn() -> Told:
    piece = makers.piece(makers.part(life_limit=50), cycles=47)
    return f"life-ends-soon:{piece.code}", Role.TECHNICIAN, f"/pieces/{piece.code}/"


def _withdraw() -> None:
    instrument_actions.withdraw(Piece.objects.get().code, reason="worn out", act=now_act())


def _due() -> Told:
    piece = makers.piece(service_due=timezone.localdate() + timedelta(days=30))
    return f"service-due-soon:{piece.code}", Role.TECHNICIAN, f"/pieces/{piece.code}/"


def _repair() -> None:
    instrument_actions.send_to_repair(Piece.objects.get().code, reason="service", act=now_act())


def _repair_overdue() -> Told:
    piece = makers.piece(state=PieceState.RETURNED)
    day = timezone.localdate() - timedelta(days=1)
    instrument_actions.send_to_repair(piece.code, reason="bent", to="Workshop", expected=day, act=now_act())
    return f"repair-overdue:{piece.code}", Role.TECHNICIAN, f"/pieces/{piece.code}/"


def _repaired() -> None:
    instrument_actions.take_from_repair(Piece.objects.get().code, act=now_act())


def _loan_due() -> Told:
    loan = makers.loan(due=timezone.localdate() + timedelta(days=1), at=timezone.now())
    makers.process(makers.borrowed(loan))
    instrument_actions.confirm_loan_count(loan.code, act=now_act())
    return f"loan-due-soon:{loan.code}", Role.TECHNICIAN, f"/stock/loans/{loan.code}/"


def _gone_back() -> None:
    instrument_actions.give_back(Piece.objects.get().code, act=now_act())
    instrument_actions.close_loan(Loan.objects.get().code, act=now_act())


def _papers_lack() -> Told:
    loan = makers.loan(instructions="", prion_history=PrionHistory.NOT_ASKED)
    return f"loan-papers:{loan.code}", Role.TECHNICIAN, f"/stock/loans/{loan.code}/"


def _papers_filed() -> None:
    given = {"instructions": "IFU-1", "prion_history": PrionHistory.NO_RISK}
    instrument_actions.file_loan_papers(Loan.objects.get().code, **given, act=now_act())


def _stock_low() -> Told:
    part, earlier = makers.part(single_use=True), timezone.now() - timedelta(days=15)
    for _ in range(3):
        pack = makers.maker_pack(part, at=earlier)
        makers.move(Piece.objects.get(carried__pack=pack), "use", at=earlier)
        Pack.objects.filter(pk=pack.pk).update(state="returned")
    return f"stock-low:{part.code}", Role.TECHNICIAN, f"/stock/#{part.code}"


def _stocked() -> None:
    for _ in range(20):
        makers.maker_pack(Part.objects.get(), at=timezone.now())


def _expiring() -> Told:
    pack = makers.maker_pack(expires=timezone.localdate() + timedelta(days=10))
    return f"expiry:{pack.code}", Role.TECHNICIAN, f"/packs/{pack.code}/"


def _expired() -> Told:
    pack = m.sterile()
    Pack.objects.update(use_by=timezone.now() - timedelta(minutes=1))
    tray_actions.expire_pack(pack.code, act=now_act())
    return f"expiry:{pack.code}", Role.TECHNICIAN, f"/packs/{pack.code}/"


def _off_the_shelf() -> None:
    pack = Pack.objects.get()
    if pack.state == "sterile":
        tray_actions.quarantine_pack(pack.code, reason="label", act=now_act())
    else:
        tray_actions.scrap_pack(pack.code, act=now_act())


def _waiting() -> Told:
    load = make.complete()
    Load.objects.update(started_at=timezone.now() - timedelta(hours=3), ended_at=timezone.now() - timedelta(hours=1))
    return f"decision:{load.code}", Role.RELEASER, f"/loads/{load.code}/"


def _decided() -> None:
    reprocessing_actions.release(Load.objects.get().code, act=act(make.releaser(), at=timezone.now()))


def _result_awaited() -> Told:
    load = make.complete()
    make.indicator(load, IndicatorKind.BIOLOGICAL)
    make.released(load)
    return f"result:{load.code}", Role.RELEASER, f"/loads/{load.code}/"


def _result_read(*, passed: bool = True) -> None:
    load = Load.objects.get()
    key = load.indicators.get(kind=IndicatorKind.BIOLOGICAL).pk
    reprocessing_actions.read_indicator(load.code, key, passed=passed, act=now_act())


def _failed_indicator() -> Told:
    _result_awaited()
    _result_read(passed=False)
    load = Load.objects.get()
    draft = load.recall_loads.get().recall
    return f"biological:{load.code}", Role.QUALITY, f"/recalls/{draft.code}/"


def _recall() -> None:
    reprocessing_actions.recall_load(Load.objects.get().code, reason="failed indicator", act=now_act())


def _doubt() -> Told:
    load = make.released()
    test = MachineTest.objects.filter(machine=load.machine)[0]
    Doubt.objects.create(load=load, test=test)
    return f"doubt:{load.code}:{test.pk}", Role.QUALITY, f"/loads/{load.code}/"


def _doubt_decided() -> None:
    doubt = Doubt.objects.get()
    reprocessing_actions.decide_doubt(doubt.load.code, doubt.test_id, decision="sound", recall=False, act=now_act())


def _short_case() -> Told:
    case = m.case(m.implant(), starts_at=timezone.now() + timedelta(days=2))
    return f"case:{case.code}", Role.COORDINATOR, f"/lists/{case.list.day.isoformat()}/"


def _unplanned_case() -> Told:
    part = makers.part(single_use=True)
    makers.maker_pack(part, expires=timezone.localdate() + timedelta(days=90))
    case = m.case(part, starts_at=timezone.now() + timedelta(hours=1))
    return f"case:{case.code}", Role.COORDINATOR, f"/lists/{case.list.day.isoformat()}/"


def _cancelled() -> None:
    actions.cancel_case(Case.objects.get().code, reason="fever", act=now_act())


def _allocated() -> None:
    actions.allocate(m.need(Case.objects.get()).pk, pack=Pack.objects.get().code, act=now_act())


def _standing_below() -> Told:
    StandingSet.objects.create(template=makers.template(), minimum=1)
    template = StandingSet.objects.get().template
    return f"standing:{template.code}", Role.COORDINATOR, f"/lists/{timezone.localdate().isoformat()}/"


def _standing_covered() -> None:
    m.sterile(makers.tray(StandingSet.objects.get().template))
    Pack.objects.update(use_by=timezone.now() + timedelta(days=30))


CAUSES: list[tuple[Any, Callable[[], Told], Callable[[], None]]] = [
    (watch_life, _worn, _withdraw),
    (watch_life, _due, _repair),
    (watch_life, _repair_overdue, _repaired),
    (watch_loans, _loan_due, _gone_back),
    (watch_loans, _papers_lack, _papers_filed),
    (watch_stock, _stock_low, _stocked),
    (watch_expiry, _expiring, _off_the_shelf),
    (watch_expiry, _expired, _off_the_shelf),
    (watch_decisions, _waiting, _decided),
    (watch_decisions, _failed_indicator, _recall),
    (watch_decisions, _result_awaited, _result_read),
    (watch_decisions, _doubt, _doubt_decided),
    (watch_cases, _short_case, _cancelled),
    (watch_cases, _unplanned_case, _allocated),
    (watch_cases, _standing_below, _standing_covered),
]
each_cause = pytest.mark.parametrize(
    ("job", "arise", "go"), CAUSES, ids=[arise.__name__.strip("_") for _, arise, _ in CAUSES]
)


@each_cause
def test_a_cause_is_told_once_to_the_role_concerned_and_closed_when_it_has_gone(
    job: Any, arise: Callable[[], Told], go: Callable[[], None]
) -> None:
    job()
    assert told() == []
    expected = arise()
    for _ in range(2):
        job()
        assert told() == [expected]
    assert Notice.objects.count() == 1
    go()
    for _ in range(2):
        job()
        assert told() == []
    assert Notice.objects.get().closed_at is not None


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
@each_cause
def test_a_job_run_by_eight_at_once_writes_each_notice_once(
    job: Any, arise: Callable[[], Told], go: Callable[[], None]
) -> None:
    expected = arise()
    at_once(*[job] * 8)
    assert told() == [expected]
    go()
    at_once(*[job] * 8)
    assert (told(), Notice.objects.count()) == ([], 1)


# Beyond what they have in common


def test_a_missing_piece_is_told_to_those_who_can_look_for_it() -> None:
    pack = m.returned()
    (piece,) = m.pieces_of(pack)
    actions.close_count(pack.code, act=now_act())
    case = m.case_of(pack)
    watch_cases()
    link = f"/pieces/{piece.code}/"
    assert told() == [(f"missing:{piece.code}", role, link) for role in sorted([Role.NURSE, Role.TECHNICIAN])]
    assert {f"It did not come back from case {case.code}." in row.sentence for row in Notice.objects.all()} == {True}
    instrument_actions.find(piece.code, act=now_act())
    watch_cases()
    assert told() == []


def test_a_piece_that_was_reported_missing_names_no_case() -> None:
    piece = makers.piece()
    instrument_actions.miss(piece.code, reason="not on the bench", act=now_act())
    watch_cases()
    assert {"case" in row.sentence for row in Notice.objects.all()} == {False}


def test_a_load_may_wait_an_hour_before_it_is_told() -> None:
    make.complete()
    Load.objects.update(
        started_at=timezone.now() - timedelta(hours=3), ended_at=timezone.now() - timedelta(minutes=59)
    )
    watch_decisions()
    assert told() == []


def test_the_worst_of_a_case_is_what_its_notice_says() -> None:
    tray, implant = m.tray_of(makers.pack()), m.implant(name="Stent 14 × 40")
    case = m.case(tray.template, implant, starts_at=timezone.now() + timedelta(days=2))
    actions.allocate(m.need(case).pk, tray=tray.code, act=now_act())
    watch_cases()
    assert "Short. Stent 14 × 40 is not in stock." in Notice.objects.get().sentence


def test_a_case_that_has_begun_is_told_no_more() -> None:
    case = m.case(m.implant(), starts_at=timezone.now())
    watch_cases()
    assert len(told()) == 1
    m.opened(makers.maker_pack(), case)
    watch_cases()
    assert told() == []


def test_a_standing_set_at_its_minimum_is_as_it_should_be() -> None:
    pack = m.sterile()
    Pack.objects.update(use_by=timezone.now() + timedelta(days=30))
    StandingSet.objects.create(template=m.tray_of(pack).template, minimum=1)
    watch_cases()
    assert told() == []


def test_the_timetable_runs_every_job() -> None:
    jobs = {
        seal_trail,
        climb_notices,
        send_notices,
        watch_trail,
        watch_life,
        watch_loans,
        watch_stock,
        watch_expiry,
        take_in_records,
        watch_decisions,
        watch_machines,
        watch_cases,
        watch_changes,
        watch_completion,
        print_go_sheets,
        take_in_lists,
        make_plan,
        watch_days,
    }
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} == {job.name for job in jobs}
    assert all(0 < entry["schedule"] <= 15 * 60 for entry in app.conf.beat_schedule.values())


@pytest.fixture
def all_done() -> Iterator[Callable[[], bool]]:
    """Whether every job that was sent has been done, so that none is at work when the test ends."""
    seen: dict[object, list[object]] = {before_task_publish: [], task_postrun: []}

    def count(signal: object, **_: object) -> None:
        seen[signal].append(1)  # from several threads: a sum could lose one

    for signal in (before_task_publish, task_postrun):
        signal.connect(count)
    yield lambda: len(seen[before_task_publish]) == len(seen[task_postrun])
    for signal in (before_task_publish, task_postrun):
        signal.disconnect(count)


@pytest.mark.django_db(transaction=True)
def test_a_worker_does_what_it_is_sent_however_often(all_done: Callable[[], bool]) -> None:
    worn, expiring = _worn(), _expiring()
    with start_worker(app, pool="threads", concurrency=2, perform_ping_check=False):
        for job in (watch_life, watch_expiry, watch_decisions, watch_cases, watch_completion) * 3:
            job.delay()
        _until(lambda: told() == sorted([worn, expiring]))
        instrument_actions.withdraw(Piece.objects.get(cycles=47).code, reason="worn out", act=now_act())
        for job in (watch_life, watch_expiry) * 3:
            job.delay()
        _until(lambda: told() == [expiring])
        _until(all_done)
    assert Notice.objects.count() == 2


def _until(holds: Callable[[], bool]) -> None:
    """Wait for what another thread is about to do."""
    patience = time.monotonic() + WORKER_S
    while not holds():
        assert time.monotonic() < patience, told()
        time.sleep(0.1)
