"""How a day becomes a scenario: where trays enter the plan, and what the fingerprint sees."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from lists.plans.day_facts import ANY_PROGRAMME, CaseFact, DayFacts, DemandFact, MachineFact, TrayFact, scenario_of
from lists.plans.day_plan import DayPlan, stored
from lists.plans.planning import plan
from lists.plans.scenario import TrayState
from lists.stages import Stage, StageTimes, ready_at

ZONE = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 11, 25, 18, 0, tzinfo=ZONE)
START = datetime(2026, 11, 26, 8, 0, tzinfo=ZONE)
TIMES = StageTimes(10, 75, 20, 55, 30, 10, 10, 15, 25)
NOW_MIN = 18 * 60


def tray(code: str = "T1", template: str = "A", stage: Stage = Stage.STERILE, **fields: object) -> TrayFact:
    return TrayFact(code, f"Tray {code}", template, stage, str(stage), **fields)  # type: ignore[arg-type]


def case(*demands: DemandFact, code: str = "C1", starts_at: datetime = START) -> CaseFact:
    return CaseFact(code, "Bronchoscopy", "Theatre 1", starts_at, 60, 2, demands)


def demand(template: str = "A", chosen: str = "", *, essential: bool = True) -> DemandFact:
    return DemandFact(1, f"Set {template}", template, chosen, essential)


MACHINES = (MachineFact("W1", "Washer 1", washes=True, capacity=6), MachineFact("S1", "Steriliser 1", False, 4))


def facts(
    *cases: CaseFact, trays: tuple[TrayFact, ...] = (), machines: tuple[MachineFact, ...] = MACHINES
) -> DayFacts:
    return DayFacts(START.date(), cases, trays, machines, {"A": "S134"}, TIMES, 1, 2, 2)


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("since", [None, NOW - timedelta(minutes=20), NOW - timedelta(hours=5)])
def test_a_tray_alone_is_ready_in_the_plan_when_readiness_says_so(stage: Stage, since: datetime | None) -> None:
    """One rule for where a tray stands: with idle machines the plan and readiness come to the same minute."""
    if since and stage not in (Stage.IN_WASHER, Stage.IN_STERILISER, Stage.AWAITING_RELEASE):
        since = None
    free_at = NOW + timedelta(minutes=45) if stage is Stage.IN_USE else None
    found = scenario_of(facts(case(demand()), trays=(tray(stage=stage, since=since, free_at=free_at),)), now=NOW)
    planned = plan(found.scenario, stop=lambda: True)
    expected = ready_at(stage, now=NOW, times=TIMES, since=since, free_at=free_at)
    assert planned.cases[0].ready_min is not None
    assert found.origin + timedelta(minutes=planned.cases[0].ready_min) == expected


@pytest.mark.parametrize("stage", [Stage.IN_STERILISER, Stage.AWAITING_RELEASE])
def test_a_tray_whose_load_waits_for_a_biological_result_is_not_sterile_before_it(stage: Stage) -> None:
    times = replace(TIMES, biological_min=24 * 60)
    since = NOW - timedelta(minutes=20)
    day = facts(case(demand()), trays=(tray(stage=stage, since=since, held=True),))
    found = scenario_of(replace(day, times=times), now=NOW)
    ready = ready_at(stage, now=NOW, times=times, since=since, held=True)
    assert ready > START
    assert found.origin + timedelta(minutes=found.scenario.trays[0].free_at_min or 0) == ready
    assert [entry.on_time for entry in plan(found.scenario, stop=lambda: True).cases] == [False]


def test_each_tray_of_a_case_is_a_case_of_its_own_with_its_start_and_weight() -> None:
    found = scenario_of(facts(case(demand(), demand("B", essential=False)), trays=(tray(),)), now=NOW)
    first, second = found.scenario.cases
    assert (first.start_min, first.duration_min, first.weight) == (24 * 60 + 8 * 60, 60, 2)
    assert (second.start_min, second.weight) == (first.start_min, 0)
    assert [one.wants for _, one in found.cases] == ["Set A", "Set B"]
    assert [template.programme for template in found.scenario.templates] == ["S134", ANY_PROGRAMME]


def test_a_case_that_lacks_one_of_its_trays_takes_none_from_another() -> None:
    two = case(demand(), demand("B"), demand("C", essential=False))
    day = facts(two, case(demand(), code="C2"), trays=(tray(), tray("T3", template="C")))
    found = scenario_of(day, now=NOW)
    assert [(one.weight, one.together) for one in found.scenario.cases] == [(2, 0), (0, 0), (0, None), (2, None)]
    made = plan(found.scenario, workers=1, seconds=1.0)
    assert [made.cases[place].on_time for place in (0, 1, 3)] == [False, False, True]
    assert [entry.why for entry in made.cases][:2] == ["together", "no_tray_of_template"]
    shown = DayPlan(stored(day, found, made, ()), ZONE)
    assert shown.cases[0].trays[0].detail == "It stands or falls with Set B, which no tray serves in time."


def test_a_chosen_tray_alone_serves_its_case_and_others_take_it_last() -> None:
    trays = (tray("T1"), tray("T2"))
    found = scenario_of(facts(case(demand(chosen="T2")), case(demand(), code="C2"), trays=trays), now=NOW)
    free, own = (one.template for one in found.scenario.trays)
    assert [one.accepts for one in found.scenario.cases] == [(own,), (free, own)]


def test_what_was_chosen_and_is_no_tray_leaves_the_choice() -> None:
    found = scenario_of(facts(case(demand(chosen="K9")), trays=(tray(),)), now=NOW)
    assert found.scenario.cases[0].accepts == (found.scenario.trays[0].template,)


def test_a_tray_that_cannot_serve_is_of_no_use() -> None:
    found = scenario_of(facts(case(demand()), trays=(tray(stopped="It is recalled."),)), now=NOW)
    assert found.scenario.trays[0].state is TrayState.QUARANTINED
    assert plan(found.scenario, stop=lambda: True).cases[0].why == "all_quarantined"


def test_machines_are_free_after_what_they_run_and_what_is_built_for_them() -> None:
    machines = (
        MachineFact("W1", "Washer 1", washes=True, capacity=6, running_since=NOW - timedelta(minutes=30)),
        MachineFact("W2", "Washer 2", washes=True, capacity=5, building=True),
        MachineFact("S1", "Steriliser 1", washes=False, capacity=4, running_since=NOW - timedelta(hours=3)),
    )
    site = scenario_of(facts(machines=machines), now=NOW).scenario.sites[0]
    assert (site.washers_free_at_min, site.washer_capacity) == ((NOW_MIN + 45, NOW_MIN + 75), 5)
    assert (site.sterilisers_free_at_min, site.steriliser_capacity) == ((NOW_MIN,), 4)


def test_a_unit_without_machines_is_said_to_have_none() -> None:
    site = scenario_of(facts(machines=()), now=NOW).scenario.sites[0]
    assert (site.washers_free_at_min, site.washer_capacity) == ((), 0)


def test_minutes_count_through_the_night_in_which_clocks_are_put_back() -> None:
    """25-Oct-2026, 3:00 becomes 2:00 in the European Union (Directive 2000/84/EC): that day has 25 hours."""
    now = datetime(2026, 10, 25, 0, 0, tzinfo=ZONE)
    found = scenario_of(facts(case(demand(), starts_at=now.replace(hour=8))), now=now)
    assert found.scenario.cases[0].start_min == 9 * 60


def test_a_case_that_has_begun_before_midnight_starts_at_the_first_minute() -> None:
    found = scenario_of(facts(case(demand(), starts_at=NOW - timedelta(days=1))), now=NOW)
    assert found.scenario.cases[0].start_min == 0


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="the moment of asking has no zone, must have one"):
        scenario_of(facts(), now=NOW.replace(tzinfo=None))
    with pytest.raises(ValueError, match="its start has no zone, must have one"):
        case(starts_at=START.replace(tzinfo=None))


def test_the_fingerprint_changes_with_what_happens_and_with_nothing_else() -> None:
    one = facts(case(demand()), trays=(tray(since=NOW),))
    assert one.fingerprint == facts(case(demand()), trays=(tray(since=NOW.astimezone(ZoneInfo("UTC"))),)).fingerprint
    others = [
        replace(one, trays=(tray(stage=Stage.RETURNED, since=NOW),)),
        replace(one, uses_per_tray=1),
        replace(one, careful=True),
        replace(one, day=date(2026, 11, 27)),
        replace(one, machines=()),
    ]
    assert len({one.fingerprint, *(other.fingerprint for other in others)}) == 1 + len(others)


def test_nothing_is_planned_while_sterile_services_are_closed() -> None:
    """Asked at 18:00, open from 7 to 19: the washer's 75 min do not end by 19:00, so it starts at 7:00."""
    day = facts(case(demand(), starts_at=START.replace(hour=14)), trays=(tray(stage=Stage.RETURNED),))
    found = scenario_of(replace(day, hours=(7, 19)), now=NOW)
    (site,) = found.scenario.sites
    assert site.preclean_shifts is not None
    assert [(shift.start_min, shift.end_min) for shift in site.preclean_shifts][:2] == [(420, 1140), (1860, 2580)]
    made = plan(found.scenario, workers=1, seconds=1.0)
    washed = next(batch for batch in made.batches if batch.stage == "washer")
    assert (found.origin + timedelta(minutes=washed.start_min)).astimezone(ZONE) == START.replace(hour=7)
    assert made.work[0].end_min == NOW_MIN + TIMES.preclean_min
    night = replace(day, hours=(19, 3))
    assert plan(scenario_of(night, now=NOW).scenario, stop=lambda: True).work[0].start_min == NOW_MIN + 60
    for hours in ((0, 24), (7, 7)):
        assert scenario_of(replace(day, hours=hours), now=NOW).scenario.sites[0].washers_closed is None


def test_no_load_is_planned_into_a_closure_of_its_machine() -> None:
    until = NOW + timedelta(hours=5)
    washer = replace(MACHINES[0], closed=((NOW + timedelta(minutes=30), until), (until, until + timedelta(days=99))))
    day = facts(case(demand()), trays=(tray(stage=Stage.RETURNED),), machines=(washer, MACHINES[1]))
    assert plan(scenario_of(day, now=NOW).scenario, stop=lambda: True).cases[0].why == "closed_time"
    shorter = replace(day, machines=(replace(washer, closed=washer.closed[:1]), MACHINES[1]))
    washed = plan(scenario_of(shorter, now=NOW).scenario, stop=lambda: True).batches[0]
    assert (washed.stage, washed.start_min) == ("washer", NOW_MIN + 300)
    assert day.fingerprint != shorter.fingerprint
