"""Pages of days and the form of a new case: what a coordinator sees and does there."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from journal.roles import Role
from lists.models import Case, StandingSet
from lists.states import CaseState
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, day_address, fresh_pack, queries_of, send, served_case, signed_in, soon
from tests.reprocessing.pages import words

pytestmark = pytest.mark.django_db


ADDRESSES = ["lists", "plan-case", "list-day", "case", "piece", "pack"]


def address_of(name: str) -> str:
    pack = m.sterile()
    case = m.case(m.tray_of(pack).template)
    args: dict[str, list[object]] = {
        "list-day": [timezone.localdate(case.starts_at)],
        "case": [case.code],
        "piece": [m.pieces_of(pack)[0].code],
        "pack": [pack.code],
    }
    return reverse(name, args=args.get(name, []))


@pytest.mark.parametrize("name", ADDRESSES)
def test_a_page_is_for_those_who_sign_in(name: str) -> None:
    address = address_of(name)
    stranger = Client().get(address)
    assert stranger.status_code == 302
    assert "sign-in" in stranger["Location"]
    assert signed_in(Role.NURSE).client.get(address).status_code == 200


@pytest.mark.parametrize(("name", "args"), [("case", ["ZZZZ"]), ("piece", ["P0000000"]), ("pack", ["K0000000"])])
def test_what_is_not_there_has_no_page(name: str, args: list[str]) -> None:
    assert coordinator().client.get(reverse(name, args=args)).status_code == 404


# The day


def test_a_day_says_for_each_case_how_ready_it_is_and_why() -> None:
    served_case(soon())
    empty = makers.tray(makers.template(makers.part()))
    m.case(empty.template, starts_at=soon() + timedelta(hours=2))
    page = coordinator().read(day_address(soon()))
    assert "2 cases: 1 complete, 1 short" in page
    assert "As of" in page
    assert "is not in stock." in page
    assert "Borrow it, or call for a loan." in page
    assert "PSEUDONYM-77" not in page


def test_a_day_narrows_to_what_is_not_complete_and_to_a_theatre() -> None:
    ready = served_case(soon())
    short = m.case(makers.template(makers.part()), starts_at=soon(), in_theatre="Theatre 2")
    client, address = coordinator(), day_address(soon())
    page = client.read(f"{address}?show=not-complete")
    assert "Only what is not complete (1)" in page
    assert short.code in page
    assert ready.code not in page
    page = client.read(f"{address}?theatre={m.theatre('Theatre 1').code}")
    assert ready.code in page
    assert short.code not in page


def test_a_case_that_has_ended_asks_for_nothing() -> None:
    case = m.case(makers.template(makers.part()), starts_at=soon())
    Case.objects.filter(pk=case.pk).update(state=CaseState.ENDED)
    page = coordinator().read(day_address(soon()))
    assert "1 case: 1 over" in page
    assert "Ended" in page
    assert "Borrow it" not in page


def test_the_table_of_a_day_renews_itself() -> None:
    case = served_case(soon())
    page = coordinator().source(f"{day_address(soon())}?show=not-complete")
    region = re.search(r'<div id="day"[^>]*>', page)
    assert region is not None
    assert f'hx-get="{day_address(soon())}?show=not-complete"' in region[0]
    assert 'hx-trigger="every 60s"' in region[0]
    assert case.code not in page


def test_the_board_turns_its_pages_of_nine_by_itself_and_names_no_patient() -> None:
    template = makers.template(makers.part())
    cases = [
        m.case(template, starts_at=soon() + timedelta(minutes=n), patient_ref="PSEUDONYM-77", operator="OP-7")
        for n in range(11)
    ]
    Case.objects.filter(pk=cases[0].pk).update(state=CaseState.ENDED)
    address = f"{day_address(soon())}board/"
    client = coordinator().client
    first, second = (client.get(f"{address}?page={number}").content.decode() for number in (1, 2))
    assert [case.code for case in cases if case.code in first] == [case.code for case in cases[1:10]]
    assert [case.code for case in cases if case.code in second] == [cases[10].code]
    assert '<meta http-equiv="refresh" content="20;url=?page=2">' in first
    assert f'hx-get="{address}?page=1"' in second
    assert "page 1 of 2" in first
    assert "Borrow it, or call for a loan." in first
    assert not any(word in first for word in ("PSEUDONYM-77", "OP-7", cases[1].reference, cases[1].procedure.name))


def test_the_board_says_when_a_case_can_be_complete() -> None:
    tray = m.tray_of(makers.pack())
    m.case_with(tray, starts_at=soon())
    board = coordinator().read(f"{day_address(soon())}board/")
    assert "Complete by" in board
    assert "Put it in the next steriliser load." in board
    assert "No case is still to come." in coordinator().read("/lists/2020-01-01/board/")


def test_standing_sets_stand_below_the_cases() -> None:
    tray = m.tray_of(fresh_pack())
    StandingSet.objects.create(template=tray.template, minimum=2)
    assert "1 sterile, must be at least 2. Process one at once." in coordinator().read(day_address(soon()))


def test_a_day_without_cases_says_so() -> None:
    page = coordinator().read(day_address(soon()))
    assert "No cases are listed for this day." in page
    assert "No set is kept sterile at all times." in page


def test_free_sets_are_chosen_from_the_day() -> None:
    tray = m.tray_of(fresh_pack())
    case = m.case(tray.template, starts_at=soon())
    assert "1 need of these cases has nothing chosen." in coordinator().read(day_address(soon()))
    page = send(coordinator(), "allocate-day", timezone.localdate(soon()))
    assert "nothing chosen" not in page
    assert m.need(case).allocation.tray == tray


def test_only_those_who_plan_choose_from_the_day() -> None:
    tray = m.tray_of(fresh_pack())
    case = m.case(tray.template, starts_at=soon())
    nurse = signed_in(Role.NURSE)
    assert "Allocate what is free" not in nurse.read(day_address(soon()))
    assert "your sign-in does not hold the right" in send(nurse, "allocate-day", timezone.localdate(soon()))
    assert not hasattr(m.need(case), "allocation")


def test_a_day_asks_as_often_for_twelve_cases_as_for_four() -> None:
    client = coordinator()
    for number in range(4):
        served_case(soon() + timedelta(minutes=number))
    few = queries_of(client, day_address(soon()))
    for number in range(4, 12):
        served_case(soon() + timedelta(minutes=number))
    assert queries_of(client, day_address(soon())) == few


# The days


def test_the_days_count_their_cases_and_lead_to_any_day() -> None:
    client = coordinator()
    assert "No case is listed from today on." in client.read(reverse("lists"))
    for hours in range(2):
        m.case(makers.template(makers.part()), starts_at=soon() + timedelta(hours=hours))
    assert "2 cases" in client.read(reverse("lists"))
    asked = queries_of(client, reverse("lists"))
    m.case(makers.template(makers.part()), starts_at=soon() + timedelta(days=1))
    assert queries_of(client, reverse("lists")) == asked
    assert client.client.get(reverse("lists"), {"day": "2026-11-26"})["Location"] == "/lists/2026-11-26/"


# Planning


def planned(**fields: str) -> dict[str, str]:
    procedure = m.procedure(makers.template(makers.part()))
    given = {
        "reference": "L-900",
        "theatre": m.theatre().code,
        "procedure": procedure.code,
        "starts_at": f"{timezone.localtime(soon()):%Y-%m-%dT%H:%M}",
        "duration_min": "50",
    }
    return given | fields


def test_a_case_is_planned_and_shown() -> None:
    page = send(coordinator(), "plan-case", **planned(planned_size="8.0"))
    assert "planned size 8.0" in page
    assert Case.objects.get(reference="L-900").starts_at == soon()


def test_what_is_written_stays_when_a_case_is_refused() -> None:
    page = coordinator().client.post(reverse("plan-case"), planned(duration_min="0") | {"key": "a"})
    assert page.status_code == 422
    assert 'value="L-900"' in page.content.decode()
    refused = signed_in(Role.NURSE).client.post(reverse("plan-case"), planned() | {"key": "b"})
    assert "your sign-in does not hold the right" in words(refused.content.decode())
    assert 'value="L-900"' in refused.content.decode()
    assert not Case.objects.exists()


def test_the_form_begins_on_the_day_it_was_opened_from() -> None:
    page = coordinator().source(reverse("plan-case") + "?day=2026-11-26")
    assert 'value="2026-11-26T08:00"' in page
