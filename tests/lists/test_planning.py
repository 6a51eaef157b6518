"""Cases onto lists, what they need, and what is to serve it."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

import pytest

from journal.roles import Role
from lists import actions
from lists.actions import planning
from lists.models import Allocation, Case, CaseLine, Requirement, TheatreList
from lists.states import CaseState
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import START
from tests.makers import AT, act, at_once, refused
from trays import actions as tray_actions
from trays.models import Pack

pytestmark = pytest.mark.django_db


def plan(reference: str = "R-1", **fields: Any) -> Case:
    values: dict[str, Any] = {
        "theatre": m.theatre().code,
        "procedure": fields.pop("procedure", None) or m.procedure(makers.template()).code,
        "starts_at": START,
        "duration_min": 60,
        **fields,
    }
    return Case.objects.get(code=actions.plan_case(reference, **values, act=act()).mark)


# Planning


def test_a_case_gets_a_random_code_its_list_and_its_standard_needs() -> None:
    template, part = makers.template(), makers.part()
    procedure = m.procedure(template, part)
    actions.state_needs((f"template:{template.code}", f"part:{part.code}:2"), procedure=procedure.code, act=act())
    case = plan(procedure=procedure.code, planned_size="7.5", patient_ref="PSEUDO-1")
    assert len(case.code) == 4
    assert set(case.code) <= set(planning.CODE_LETTERS)
    assert not set("01OI") & set(planning.CODE_LETTERS)
    assert (case.list.theatre.name, case.list.day) == ("Theatre 1", START.date())
    assert [(row.template, row.part) for row in case.requirements.all()] == [
        (template, None),
        (None, part),
        (None, part),
    ]
    assert [line.verb for line in CaseLine.objects.filter(case=case)] == ["plan"]


def test_a_case_after_midnight_of_the_unit_is_on_that_days_list() -> None:
    case = plan(starts_at=AT.replace(hour=0, minute=30))
    assert case.list.day == AT.date()


def test_the_same_booking_again_changes_nothing() -> None:
    first = plan(procedure=(procedure := m.procedure(makers.template()).code))
    again = plan(procedure=procedure)
    assert again.pk == first.pk
    assert first.requirements.count() == 1
    assert CaseLine.objects.count() == 1


def test_the_same_booking_of_a_cancelled_case_leaves_it_cancelled() -> None:
    case = plan(procedure=(procedure := m.procedure(makers.template()).code))
    actions.cancel_case(case.code, reason="fever", act=act())
    assert plan(procedure=procedure).state == CaseState.CANCELLED


def test_the_same_reference_with_other_values_updates_the_case() -> None:
    case = plan(procedure=(procedure := m.procedure(makers.template()).code))
    later = plan(procedure=procedure, starts_at=START + timedelta(days=1), theatre=m.theatre("Theatre 2").code)
    assert (later.pk, later.list.theatre.name) == (case.pk, "Theatre 2")
    line = CaseLine.objects.order_by("pk").last()
    assert line is not None
    assert set(line.evidence) == {"list", "starts_at"}


def test_another_procedure_keeps_what_still_suits_with_its_allocation() -> None:
    kept, dropped, added = makers.template(), makers.template(), makers.part()
    case = plan(procedure=m.procedure(kept, dropped).code)
    tray = makers.tray(kept)
    actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    actions.add_requirement(case.code, part=makers.part().code, act=act())
    plan(procedure=m.procedure(kept, added).code)
    wants = [(row.template or row.part, row.source) for row in case.requirements.all()]
    assert [source for _, source in wants] == ["procedure", "added by hand", "procedure"]
    assert [wanted for wanted, source in wants if source == "procedure"] == [kept, added]
    assert m.need(case).allocation.tray == tray


def test_a_case_under_way_is_not_replanned() -> None:
    case = m.case_of(m.opened())
    again = partial(actions.plan_case, case.reference, m.theatre().code, case.procedure.code, START)
    assert refused(lambda: again(duration_min=90, act=act())) == ["wrong-state"]


@pytest.mark.parametrize(
    ("reference", "duration_min", "slugs"),
    [
        (" ", 60, ["reference-missing"]),
        ("R-1", 0, ["duration-out-of-range"]),
        ("R-1", 1441, ["duration-out-of-range"]),
        ("", -1, ["reference-missing", "duration-out-of-range"]),
    ],
)
def test_a_booking_that_makes_no_sense_is_refused(reference: str, duration_min: int, slugs: list[str]) -> None:
    assert refused(lambda: plan(reference, duration_min=duration_min)) == slugs
    assert not Case.objects.exists()


@pytest.mark.parametrize("field", ["theatre", "procedure"])
def test_a_booking_names_a_theatre_and_a_procedure_of_the_unit(field: str) -> None:
    assert refused(lambda: plan(**{field: "NOWHERE"})) == ["unknown-code"]


@pytest.mark.parametrize("verb", ["plan", "move", "cancel", "add", "allocate", "free", "allocate_list"])
def test_planning_needs_its_right(verb: str) -> None:
    case = m.case(makers.template())
    technician = act(makers.person(Role.TECHNICIAN))
    calls = {
        "plan": lambda: actions.plan_case("R", m.theatre().code, case.procedure.code, START, 60, act=technician),
        "move": lambda: actions.move_case(case.code, START, act=technician),
        "cancel": lambda: actions.cancel_case(case.code, reason="x", act=technician),
        "add": lambda: actions.add_requirement(case.code, part=makers.part().code, act=technician),
        "allocate": lambda: actions.allocate(m.need(case).pk, tray="T", act=technician),
        "free": lambda: actions.free(m.need(case).pk, act=technician),
        "allocate_list": lambda: actions.allocate_list(START.date(), act=technician),
    }
    assert refused(calls[verb]) == ["right-missing"]


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_reference_planned_by_eight_at_once_is_one_case() -> None:
    theatre, procedure, by = m.theatre(), m.procedure(makers.template()), makers.everybody()
    results = at_once(
        *[
            lambda: actions.plan_case("R-1", theatre.code, procedure.code, START, 60, act=act(by)).mark
            for _ in range(8)
        ]
    )
    assert len(set(results)) == 1
    assert (Case.objects.count(), TheatreList.objects.count(), Requirement.objects.count()) == (1, 1, 1)


# Moving and cancelling


def test_a_case_moves_to_another_time_day_and_theatre() -> None:
    case = m.case(makers.template())
    tomorrow = START + timedelta(days=1)
    actions.move_case(case.code, tomorrow, theatre=m.theatre("Theatre 2").code, act=act())
    case.refresh_from_db()
    assert (case.starts_at, case.list.day, case.list.theatre.name) == (tomorrow, tomorrow.date(), "Theatre 2")
    actions.move_case(case.code.lower(), START, act=act())
    case.refresh_from_db()
    assert (case.starts_at, case.list.theatre.name) == (START, "Theatre 2")


def test_a_cancelled_case_gives_its_sets_back_and_names_what_is_out() -> None:
    pack = m.issued()
    case = m.case_of(pack)
    actions.allocate(m.need(case).pk, tray=m.tray_of(pack).code, act=act())
    done = actions.cancel_case(case.code, reason="fever", act=act())
    assert done.state == CaseState.CANCELLED
    assert not Allocation.objects.exists()
    assert [finding["sentence"] for finding in done.findings] == [f"{pack.code} is out for case {case.code}."]
    assert refused(lambda: actions.cancel_case(case.code, reason="again", act=act())) == ["wrong-state"]


def test_cancelling_needs_a_reason() -> None:
    case = m.case(makers.template())
    assert refused(lambda: actions.cancel_case(case.code, reason=" ", act=act())) == ["reason-missing"]


def test_a_case_that_nobody_planned_is_not_found() -> None:
    assert refused(lambda: actions.cancel_case("ZZZZ", reason="x", act=act())) == ["unknown-code"]


# Requirements


def test_a_requirement_is_added_by_hand() -> None:
    case = m.case()
    actions.add_requirement(case.code, template=makers.template().code, act=act())
    actions.add_requirement(case.code, part=makers.part().code, act=act())
    assert [row.source for row in case.requirements.all()] == ["added by hand"] * 2


@pytest.mark.parametrize(("template", "part"), [("", ""), ("A", "B")])
def test_a_requirement_is_of_one_thing(template: str, part: str) -> None:
    case = m.case()
    assert refused(lambda: actions.add_requirement(case.code, template=template, part=part, act=act())) == [
        "template-or-part"
    ]


def test_a_case_that_is_over_needs_nothing_more() -> None:
    case = m.case()
    actions.cancel_case(case.code, reason="fever", act=act())
    assert refused(lambda: actions.add_requirement(case.code, part=makers.part().code, act=act())) == ["wrong-state"]


# Allocating


def test_a_tray_serves_a_requirement_of_its_template() -> None:
    tray = makers.tray()
    case = m.case(tray.template)
    done = actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    assert (done.mark, m.need(case).allocation.chosen) == (case.code, tray)
    again = actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    assert "already" in again.sentence
    assert CaseLine.objects.filter(verb="allocate").count() == 1


def test_a_pack_serves_a_requirement_of_its_template_or_part() -> None:
    of_tray, single = makers.pack(), makers.maker_pack()
    case = m.case(m.tray_of(of_tray).template, m.parts_in(single)[0])
    for place, pack in enumerate((of_tray, single)):
        actions.allocate(m.need(case, place).pk, pack=pack.code, act=act())
    assert [str(row.allocation) for row in case.requirements.all()] == [of_tray.code, single.code]


def test_a_swap_needs_a_reason_and_is_told_in_the_trail() -> None:
    template = makers.template()
    case, first, second = m.case(template), makers.tray(template), makers.tray(template)
    actions.allocate(m.need(case).pk, tray=first.code, act=act())
    swap = partial(actions.allocate, m.need(case).pk, tray=second.code, act=act())
    assert refused(swap) == ["reason-missing"]
    swap(reason="seal torn")
    line = CaseLine.objects.order_by("pk").last()
    assert line is not None
    assert (line.reason, line.evidence["instead_of"]) == ("seal torn", first.code)


def test_a_tray_may_serve_two_cases_and_says_so() -> None:
    tray = makers.tray()
    first, second = m.case(tray.template), m.case(tray.template, starts_at=START + timedelta(hours=6))
    actions.allocate(m.need(first).pk, tray=tray.code, act=act())
    done = actions.allocate(m.need(second).pk, tray=tray.code, act=act())
    assert [finding["slug"] for finding in done.findings] == ["tray-shared"]
    assert first.code in done.findings[0]["sentence"]


def test_a_pack_serves_one_case_only() -> None:
    pack = makers.maker_pack()
    first, second = (m.case(m.parts_in(pack)[0]) for _ in range(2))
    actions.allocate(m.need(first).pk, pack=pack.code, act=act())
    assert refused(lambda: actions.allocate(m.need(second).pk, pack=pack.code, act=act())) == ["pack-taken"]
    actions.cancel_case(first.code, reason="fever", act=act())
    actions.allocate(m.need(second).pk, pack=pack.code, act=act())


def test_one_set_does_not_serve_two_needs_of_a_case() -> None:
    tray = makers.tray()
    case = m.case(tray.template, tray.template)
    actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    assert refused(lambda: actions.allocate(m.need(case, 1).pk, tray=tray.code, act=act())) == ["serves-this-case"]


def test_what_is_of_another_kind_or_of_no_use_is_refused() -> None:
    case = m.case(makers.template(), makers.part())
    tray, pack = makers.tray(in_service=False), m.sterile()
    assert refused(lambda: actions.allocate(m.need(case).pk, tray=tray.code, act=act())) == [
        "wrong-kind",
        "not-in-service",
    ]
    assert refused(lambda: actions.allocate(m.need(case).pk, pack=pack.code, act=act())) == ["wrong-kind"]
    tray_actions.quarantine_pack(pack.code, reason="wet", act=act())
    assert refused(lambda: actions.allocate(m.need(case, 1).pk, pack=pack.code, act=act())) == [
        "wrong-kind",
        "wrong-state",
    ]


@pytest.mark.parametrize(("tray", "pack"), [("", ""), ("A", "B")])
def test_an_allocation_is_of_one_thing(tray: str, pack: str) -> None:
    case = m.case(makers.template())
    assert refused(lambda: actions.allocate(m.need(case).pk, tray=tray, pack=pack, act=act())) == ["tray-or-pack"]


def test_only_what_is_known_is_allocated_to_what_is_known() -> None:
    case = m.case(makers.template())
    assert refused(lambda: actions.allocate(0, tray="T", act=act())) == ["unknown-code"]
    assert refused(lambda: actions.allocate(m.need(case).pk, tray="T", act=act())) == ["unknown-code"]
    assert refused(lambda: actions.allocate(m.need(case).pk, pack="K", act=act())) == ["unknown-code"]


def test_nothing_is_allocated_to_a_cancelled_case() -> None:
    tray = makers.tray()
    case = m.case(tray.template)
    actions.cancel_case(case.code, reason="fever", act=act())
    assert refused(lambda: actions.allocate(m.need(case).pk, tray=tray.code, act=act())) == ["wrong-state"]


def test_what_is_freed_can_serve_another() -> None:
    pack = makers.maker_pack()
    first, second = (m.case(m.parts_in(pack)[0]) for _ in range(2))
    actions.allocate(m.need(first).pk, pack=pack.code, act=act())
    actions.free(m.need(first).pk, reason="other size", act=act())
    actions.allocate(m.need(second).pk, pack=pack.code, act=act())
    assert refused(lambda: actions.free(m.need(first).pk, act=act())) == ["not-allocated"]


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_pack_wanted_by_eight_cases_at_once_goes_to_one() -> None:
    pack, by = makers.maker_pack(), makers.everybody()
    needs = [m.need(m.case(m.parts_in(pack)[0])).pk for _ in range(8)]
    at_once(*[lambda need=need: actions.allocate(need, pack=pack.code, act=act(by)) for need in needs])
    assert Allocation.objects.filter(pack=pack).count() == 1


# A whole day at once


def test_a_day_is_given_what_is_free_in_order_of_start() -> None:
    part = makers.part(single_use=True)
    packs = [
        makers.maker_pack(part, expires=day) for day in (AT.date().replace(year=2029), AT.date().replace(year=2028))
    ]
    late = m.case(part, starts_at=START + timedelta(hours=1))
    early, third = m.case(part), m.case(part, starts_at=START + timedelta(hours=2))
    tray = m.tray_of(makers.pack())
    turned = m.case(tray.template, starts_at=START + timedelta(hours=3))
    done = actions.allocate_list(START.date(), act=act())
    assert done.sentence == "3 allocated, 1 left without."
    assert [finding["subject"] for finding in done.findings] == [third.code]
    assert [m.need(case).allocation.chosen for case in (early, late, turned)] == [packs[1], packs[0], tray]
    assert actions.allocate_list(START.date(), act=act()).sentence == "0 allocated, 1 left without."


def test_one_theatre_may_be_given_its_sets_alone() -> None:
    part = makers.part(single_use=True)
    makers.maker_pack(part)
    other, own = m.case(part, in_theatre="Theatre 2"), m.case(part, starts_at=START + timedelta(minutes=5))
    makers.maker_pack(part)
    actions.allocate_list(START.date(), theatre=own.list.theatre.code, act=act())
    assert Allocation.objects.get().requirement.case == own
    assert not Allocation.objects.filter(requirement__case=other).exists()


def test_what_another_day_is_to_get_is_left_to_it() -> None:
    part = makers.part(single_use=True)
    pack = makers.maker_pack(part)
    tomorrow = m.case(part, starts_at=START + timedelta(days=1))
    actions.allocate(m.need(tomorrow).pk, pack=pack.code, act=act())
    m.case(part)
    assert actions.allocate_list(START.date(), act=act()).sentence == "0 allocated, 1 left without."
    assert Pack.objects.get().allocations.get().requirement.case == tomorrow


def test_a_code_that_a_case_has_is_not_given_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(planning, "CODE_LENGTH", 1)
    monkeypatch.setattr(planning, "CODE_LETTERS", "ABCDEFGH")
    assert sorted(m.case().code for _ in range(8)) == list("ABCDEFGH")
