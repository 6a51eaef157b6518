"""The plan of a day: asked for, made by its job, stopped, left by a dead worker; asked for when something changed."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from instruments.models import Validation
from journal.roles import Role
from lists import actions
from lists.actions import end_plan, keep_progress, plan_anew, take_up_plan
from lists.models import Case, DayPlanRow, ToPlanAnew
from lists.plans.set_times import days_to_watch
from lists.reads import day_facts
from lists.states import PlanState
from lists.tasks import make_plan, watch_days
from reprocessing.models import Machine
from reprocessing.states import MachineKind
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import fresh_pack, soon
from tests.makers import act, at_once, refused
from tests.reprocessing import makers as make
from tests.test_jobs import now_act
from trays.models import Tray

pytestmark = [pytest.mark.jobs, pytest.mark.storage, pytest.mark.django_db]

QUIET = timedelta(seconds=90)
AN_AGE = timedelta(minutes=5)


def the_day() -> date:
    return timezone.localdate(soon())


def asked(**fields: Any) -> DayPlanRow:
    return DayPlanRow.objects.create(day=the_day(), asked_at=timezone.now(), **fields)


def over(state: PlanState = PlanState.DONE, **fields: Any) -> DayPlanRow:
    row = asked()
    known = {"result": {}, "fingerprint": "f"} if state is PlanState.DONE else {}
    DayPlanRow.objects.filter(pk=row.pk).update(state=state, ended_at=timezone.now(), **known | fields)
    row.refresh_from_db()
    return row


def a_case() -> tuple[Case, Tray]:
    """A case whose tray is sterile but not chosen."""
    tray = m.tray_of(fresh_pack())
    return m.case(tray.template, starts_at=soon()), tray


# What a plan goes by


def test_facts_of_a_day_are_its_cases_and_the_trays_that_could_serve() -> None:
    case, tray = a_case()
    makers.tray()
    facts = day_facts(the_day(), at=timezone.now())
    (fact,) = facts.cases
    assert (fact.code, fact.weight, [one.template for one in fact.demands]) == (case.code, 2, [tray.template.code])
    assert [(one.code, one.stage, one.stopped) for one in facts.trays] == [(tray.code, "sterile", "")]
    assert all(machine.washes or machine.capacity for machine in facts.machines)


def test_an_implant_weighs_more_and_what_is_in_hand_is_not_planned() -> None:
    case, tray = a_case()
    Case.objects.update(planned_implant="14 × 40")
    pack = tray.packs.get()
    actions.issue(pack.code, case.code, barrier_intact=True, act=now_act())
    (fact,) = day_facts(the_day(), at=timezone.now()).cases
    assert (fact.weight, fact.demands, fact.in_hand) == (3, (), 1)


def test_a_tray_that_another_day_has_is_in_use_before_and_promised_after() -> None:
    case, tray = a_case()
    before = m.case(tray.template, starts_at=soon() - timedelta(days=1))
    actions.allocate(m.need(before).pk, tray=tray.code, act=now_act())
    (fact,) = day_facts(the_day(), at=timezone.now()).trays
    assert (fact.stage, fact.free_at) == ("in use", before.starts_at + timedelta(hours=1))
    actions.free(m.need(before).pk, act=now_act())
    after = m.case(tray.template, starts_at=soon() + timedelta(days=1))
    actions.allocate(m.need(after).pk, tray=tray.code, act=now_act())
    assert day_facts(the_day(), at=timezone.now()).trays == ()
    actions.allocate(m.need(case).pk, tray=tray.code, act=now_act())
    assert [one.code for one in day_facts(the_day(), at=timezone.now()).trays] == [tray.code]


def test_single_packs_and_ended_cases_are_left_out_and_queries_do_not_grow(django_assert_num_queries: Any) -> None:
    case, tray = a_case()
    single = m.case(makers.part(), starts_at=soon())
    pack = m.sterile(makers.single())
    actions.allocate(
        m.need(m.case(m.parts_in(pack)[0], starts_at=soon() - timedelta(days=1))).pk, pack=pack.code, act=now_act()
    )
    with CaptureQueriesContext(connection) as few:
        facts = day_facts(the_day(), at=timezone.now())
    assert {one.code: len(one.demands) for one in facts.cases} == {case.code: 1, single.code: 0}
    for _ in range(3):
        other = m.case(tray.template, starts_at=soon())
    with django_assert_num_queries(len(few)):
        day_facts(the_day(), at=timezone.now())
    actions.cancel_case(other.code, reason="ill", act=now_act())
    assert other.code not in {one.code for one in day_facts(the_day(), at=timezone.now()).cases}


def test_only_sterilisers_with_a_programme_of_the_day_count() -> None:
    _, tray = a_case()
    cold = make.machine(MachineKind.LOW_TEMPERATURE)
    facts = day_facts(the_day(), at=timezone.now())
    steam = facts.programmes[tray.template.code]
    assert cold.code not in {machine.code for machine in facts.machines}
    assert {machine.code for machine in facts.machines if not machine.washes} == set(
        Machine.objects.filter(programmes__code=steam).values_list("code", flat=True)
    )
    Validation.objects.all().delete()
    assert cold.code in {machine.code for machine in day_facts(the_day(), at=timezone.now()).machines}


def test_careful_facts_go_by_the_times_that_eight_of_ten_keep() -> None:
    """Without a record the policy stands with a spread of 0.3: exp(0.8416 × 0.3) = 1.287 (z from a normal table)."""
    usual, careful = (day_facts(the_day(), at=timezone.now(), careful=mode).times for mode in (False, True))
    assert (usual.wash_min, careful.wash_min) == (75, 97)
    assert (careful.cooling_min, careful.release_min) == (52, 0)
    assert careful.move_min == usual.move_min


# The verbs


def test_a_plan_is_asked_for_once_for_a_day() -> None:
    done = actions.ask_for_plan(the_day(), careful=True, act=now_act())
    again = actions.ask_for_plan(the_day(), act=now_act())
    assert (done.state, done.pk, again.sentence[-9:]) == ("asked", again.pk, " already.")
    row = DayPlanRow.objects.get()
    assert (row.careful, row.asked_by is not None, str(row)) == (True, True, f"plan of {the_day():%d-%b-%Y}")


@pytest.mark.parametrize("ahead", [-1, 31])
def test_a_day_that_is_over_or_far_ahead_is_not_planned(ahead: int) -> None:
    day = timezone.localdate() + timedelta(days=ahead)
    assert refused(lambda: actions.ask_for_plan(day, act=now_act())) == ["day-out-of-range"]
    assert not DayPlanRow.objects.exists()


def test_who_may_not_plan_neither_asks_nor_stops() -> None:
    row = asked()
    tech = act(makers.person(Role.TECHNICIAN), at=timezone.now())
    assert refused(lambda: actions.ask_for_plan(the_day(), act=tech)) == ["right-missing"]
    assert refused(lambda: actions.cancel_plan(row.pk, act=tech)) == ["right-missing"]


def test_a_plan_that_waits_is_stopped_at_once_and_one_that_is_over_not_at_all() -> None:
    row = asked()
    assert actions.cancel_plan(row.pk, act=now_act()).state == "cancelled"
    assert refused(lambda: actions.cancel_plan(row.pk, act=now_act())) == ["wrong-state"]
    assert refused(lambda: actions.cancel_plan(0, act=now_act())) == ["unknown-code"]


def test_one_plan_is_made_at_a_time_and_a_dead_workers_is_taken_up() -> None:
    assert take_up_plan(at=timezone.now()) is None
    first = asked()
    later = DayPlanRow.objects.create(day=the_day() + timedelta(days=1), asked_at=timezone.now())
    at = timezone.now()
    taken = take_up_plan(at=at)
    assert taken == first
    assert take_up_plan(at=at) is None
    assert keep_progress(taken, at=at + timedelta(seconds=1), progress={"weight": 1})
    again = take_up_plan(at=at + AN_AGE)
    assert again == first
    assert not keep_progress(taken, at=at + AN_AGE, progress={"weight": 9})
    end_plan(taken, PlanState.FAILED, at=at, fault="late")
    first.refresh_from_db()
    assert (first.state, first.progress) == ("running", {"weight": 1})
    end_plan(again, PlanState.FAILED, at=at, fault="x" * 999)
    assert take_up_plan(at=at) == later


def test_a_plan_that_is_to_stop_does_not_go_on() -> None:
    asked()
    taken = take_up_plan(at=timezone.now())
    assert taken is not None
    actions.cancel_plan(taken.pk, act=now_act())
    assert not keep_progress(taken, at=timezone.now())


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_who_ask_at_once_get_one_plan_and_one_worker_makes_it() -> None:
    people = [now_act() for _ in range(8)]
    found = at_once(*[lambda by=by: actions.ask_for_plan(the_day(), act=by) for by in people])
    assert len({done.pk for done in found}) == DayPlanRow.objects.count() == 1
    taken = at_once(*[lambda: take_up_plan(at=timezone.now())] * 8)
    assert sum(row is not None for row in taken) == 1


# The job


def test_a_plan_is_made_in_a_process_of_its_own_and_kept_with_its_chances() -> None:
    case, tray = a_case()
    make_plan()
    actions.ask_for_plan(the_day(), act=now_act())
    DayPlanRow.objects.update(state=PlanState.RUNNING, alive_at=timezone.now() - AN_AGE)  # its worker was killed
    make_plan()
    make_plan()
    row = DayPlanRow.objects.get()
    assert (row.state, row.fault) == ("done", "")
    assert row.fingerprint == day_facts(the_day(), at=timezone.now()).fingerprint
    assert row.result is not None
    assert row.result["plan"]["proven"]
    assert [entry["chance"] for entry in row.result["chances"]] == [1.0]
    assert row.result["trays"] == [[tray.code, tray.name]]
    assert row.result["cases"][0]["code"] == case.code


def test_a_plan_that_is_stopped_keeps_the_first_plan() -> None:
    a_case()
    actions.ask_for_plan(the_day(), act=now_act())
    DayPlanRow.objects.update(stop_asked_by=makers.person(Role.COORDINATOR))
    make_plan()
    row = DayPlanRow.objects.get()
    assert row.result is not None
    assert (row.state, row.result["plan"]["on_time_weight"]) == ("cancelled", 2)


def test_a_plan_that_cannot_be_made_says_why_and_keeps_the_first(settings: Any, tmp_path: Path) -> None:
    a_case()
    settings.BASE_DIR = tmp_path  # where there is no manage.py to run
    actions.ask_for_plan(the_day(), act=now_act())
    make_plan()
    row = DayPlanRow.objects.get()
    assert row.state == "failed"
    assert "manage.py" in row.fault
    assert row.result is not None
    assert row.result["plan"]["on_time_weight"] == 2


# Looking again


def test_a_day_is_planned_anew_when_it_has_been_quiet() -> None:
    at = timezone.now()
    day = the_day()
    assert not plan_anew(day, "a", at=at)
    assert not plan_anew(day, "b", at=at + QUIET)
    assert str(ToPlanAnew.objects.get()) == f"{day:%d-%b-%Y} since {ToPlanAnew.objects.get().since:%H:%M}"
    assert plan_anew(day, "b", at=at + 2 * QUIET)
    assert (ToPlanAnew.objects.count(), DayPlanRow.objects.get().asked_by) == (0, None)
    assert not plan_anew(day, "c", at=at + 3 * QUIET)
    assert DayPlanRow.objects.count() == 1


def test_a_day_that_never_is_quiet_is_planned_after_a_while_and_one_that_is_as_planned_never() -> None:
    at = timezone.now()
    over(careful=True, fingerprint="0")
    assert not plan_anew(the_day(), "0", at=at)
    asked_for = [plan_anew(the_day(), str(turn), at=at + turn * timedelta(seconds=60)) for turn in range(1, 17)]
    assert asked_for == [False] * 15 + [True]
    assert DayPlanRow.objects.still_open().get().careful


def test_the_days_to_watch_are_tomorrow_and_three_working_days() -> None:
    def every(first: date, last: date) -> set[date]:
        return {first + timedelta(days=ahead) for ahead in range((last - first).days + 1)}

    friday = date(2026, 11, 27)
    found = days_to_watch(friday, every)
    assert [f"{day:%a}" for day in found] == ["Sat", "Mon", "Tue", "Wed"]
    assert days_to_watch(friday, lambda _first, last: {last}) == [found[-1]]


def test_a_case_of_tomorrow_leads_to_one_request() -> None:
    tray = m.tray_of(fresh_pack())
    tomorrow = timezone.localdate() + timedelta(days=1)
    m.case(tray.template, starts_at=timezone.make_aware(datetime.combine(tomorrow, time(10))))
    for _ in range(2):
        watch_days()
        assert DayPlanRow.objects.count() == 0
    ToPlanAnew.objects.update(quiet_since=timezone.now() - QUIET)
    for _ in range(2):
        watch_days()
    assert DayPlanRow.objects.get().day == tomorrow


# The table


@pytest.mark.parametrize(
    ("broken", "fields"),
    [
        ("day_plan_state_known", {"state": "lost", "ended_at": timezone.now()}),
        ("day_plan_over_when", {"state": PlanState.RUNNING, "ended_at": timezone.now()}),
        ("day_plan_over_when", {"state": PlanState.CANCELLED}),
        ("day_plan_done_has_result", {"state": PlanState.DONE, "ended_at": timezone.now()}),
        ("day_plan_failed_says_why", {"state": PlanState.FAILED, "ended_at": timezone.now()}),
    ],
)
def test_a_row_that_breaks_a_rule_is_refused(broken: str, fields: dict[str, Any]) -> None:
    asked()
    with pytest.raises(IntegrityError, match=broken), transaction.atomic():
        DayPlanRow.objects.update(**fields)


def test_one_plan_of_a_day_is_open_and_one_in_all_runs() -> None:
    asked(state=PlanState.RUNNING)
    with pytest.raises(IntegrityError, match=r"day_plan_one_open|lists_dayplanrow.day"), transaction.atomic():
        asked()
    with pytest.raises(IntegrityError, match=r"day_plan_one_running|lists_dayplanrow.state"), transaction.atomic():
        DayPlanRow.objects.create(day=date(2026, 1, 1), asked_at=timezone.now(), state=PlanState.RUNNING)


def test_a_plan_that_is_over_is_frozen() -> None:
    over()
    for change in (lambda: DayPlanRow.objects.update(fault="x"), lambda: DayPlanRow.objects.all().delete()):
        with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
            change()
