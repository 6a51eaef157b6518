"""Go / no go sheets, printed once at each cut-off and kept byte for byte, and the walks along the shelves."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from journal.actions import acknowledge
from journal.findings import Refused
from journal.models import Notice, Place, PolicySetting
from journal.roles import Role
from journal.telling import Concern, tell
from lists import actions
from lists.models import Case, GoSheet
from lists.paper import go_sheet, pick_list
from lists.reads import going, picking, sheet_due
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import queries_of, signed_in
from tests.lists.test_completing import needs_poppler, poppler
from tests.makers import act, at_once
from tests.reprocessing.pages import Browser
from trays.models import Pack

pytestmark = pytest.mark.django_db

DAY = timezone.localdate(m.TOMORROW)
BEFORE = timezone.localtime(m.TOMORROW).replace(hour=16, minute=0) - timedelta(days=1)


def served(place: str, **fields: Any) -> tuple[Case, Pack]:
    """A case of tomorrow with a sterile pack on a shelf."""
    pack = m.sterile()
    store = Place.objects.get_or_create(name=place, defaults={"code": f"PL-{Place.objects.count()}"})[0]
    Pack.objects.filter(pk=pack.pk).update(place=store, use_by=m.TOMORROW + timedelta(days=9))
    return m.case_with(m.tray_of(pack), **fields), pack


def text_of(document: bytes) -> str:
    return poppler("pdftotext", "-layout", "-", "-", document=document)


@pytest.mark.parametrize(
    ("at", "due"),
    [
        (BEFORE, (DAY - timedelta(days=1), DAY)),
        (BEFORE - timedelta(minutes=1), None),  # of the cut-off before; its next list is today's, and there is none
        (BEFORE + timedelta(hours=9), (DAY - timedelta(days=1), DAY)),  # made up in the night
    ],
)
def test_a_sheet_is_due_from_the_cutoff_on_for_the_next_day_with_cases(
    at: datetime, due: tuple[date, date] | None
) -> None:
    assert sheet_due(at) is None
    m.case(starts_at=m.TOMORROW)
    PolicySetting.objects.create(name="case_horizon_days", value=1, reason="test")
    assert sheet_due(at) == due


def test_before_a_free_day_the_sheet_is_that_of_the_day_after() -> None:
    m.case(starts_at=m.TOMORROW + timedelta(days=2))
    assert sheet_due(BEFORE) == (DAY - timedelta(days=1), DAY + timedelta(days=2))


@needs_poppler
def test_the_sheet_says_verdict_findings_what_to_do_and_who_acknowledged() -> None:
    ready, _ = served("Shelf 1")
    short = m.case(m.implant(name="Stent 14 × 40"), starts_at=m.TOMORROW)
    seen = m.case(m.implant(name="Stent 16 × 50"), starts_at=m.TOMORROW)
    found = [Concern(f"case:{case.code}", Role.COORDINATOR, f"Case {case.code} is short.") for case in (short, seen)]
    tell("cases", found, at=BEFORE)
    taken = Notice.objects.get(cause=f"case:{seen.code}")
    person = makers.person(Role.COORDINATOR)
    acknowledge(taken.pk, act=act(person, at=BEFORE + timedelta(minutes=1)))
    document = go_sheet(going(DAY, at=BEFORE), by="the cut-off")
    text = text_of(document)
    assert "Tagged: yes" in poppler("pdfinfo", "-", document=document)
    for words in (ready.code, "Complete", short.code, "Stent 14 × 40 is not in stock", "No go", "by the cut-off"):
        assert words in text
    assert text.count("Acknowledged by nobody yet") == 1
    assert f"Acknowledged by {person}" in text


def test_a_person_prints_it_and_gets_it_back_byte_for_byte() -> None:
    case, _ = served("Shelf 1")
    person = makers.person(Role.COORDINATOR)
    browser = Browser(person)
    page = browser.send(f"/lists/{DAY}/go/print/")
    assert "The sheet is printed and kept" in page
    kept = GoSheet.objects.get()
    assert (kept.cutoff_on, kept.drawn_by) == (None, person)
    answer = browser.client.get(f"/lists/{DAY}/go/{kept.pk}.pdf")
    assert hashlib.sha256(answer.content).hexdigest() == kept.sha256
    Case.objects.update(state="cancelled")
    assert browser.client.get(f"/lists/{DAY}/go/{kept.pk}.pdf").content == answer.content
    assert browser.client.get(f"/lists/{DAY + timedelta(days=1)}/go/{kept.pk}.pdf").status_code == 404
    assert case.code not in browser.client.get(f"/lists/{DAY}/go/").content.decode()


def test_only_who_plans_prints_it_and_only_where_a_case_is_to_come() -> None:
    m.case(starts_at=m.TOMORROW)
    with pytest.raises(Refused, match="right"):
        actions.print_go_sheet(DAY, act=act(makers.person(Role.NURSE)))
    with pytest.raises(Refused, match="it has no case to come, must have one"):
        actions.print_go_sheet(DAY + timedelta(days=1), act=act())
    assert not GoSheet.objects.exists()


@pytest.mark.jobs
def test_the_cutoff_prints_it_once_however_often_it_is_run() -> None:
    assert actions.print_at_cutoff(BEFORE) is None
    m.case(starts_at=m.TOMORROW)
    first = actions.print_at_cutoff(BEFORE)
    assert first is not None
    assert (first.day, first.cutoff_on, first.drawn_by) == (DAY, DAY - timedelta(days=1), None)
    assert actions.print_at_cutoff(BEFORE + timedelta(hours=1)) is None
    assert GoSheet.objects.count() == 1


@pytest.mark.jobs
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_the_cutoff_keep_one_sheet() -> None:
    m.case(starts_at=m.TOMORROW)
    answers = at_once(*[lambda: actions.print_at_cutoff(BEFORE)] * 8)
    assert (sum(answer is not None for answer in answers), GoSheet.objects.count()) == (1, 1)


@pytest.mark.storage
def test_the_database_keeps_one_sheet_of_a_cutoff_and_who_printed_the_others() -> None:
    fields = {"day": DAY, "drawn_at": BEFORE, "words": "1 case", "sha256": "0" * 64, "document": b"%PDF"}
    GoSheet.objects.create(**fields, cutoff_on=DAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        GoSheet.objects.create(**fields, cutoff_on=DAY)
    with pytest.raises(IntegrityError, match="go_sheet_at_cutoff_or_by_somebody"), transaction.atomic():
        GoSheet.objects.create(**fields)


# The walk along the shelves


def test_packs_are_fetched_in_the_order_of_the_shelves_and_what_cannot_says_why() -> None:
    far, far_pack = served("Shelf 10")
    near, near_pack = served("Shelf 2")
    unplaced = m.sterile()
    Pack.objects.filter(pk=unplaced.pk).update(use_by=m.TOMORROW + timedelta(days=9))
    m.case_with(m.tray_of(unplaced))
    again = m.case_with(m.tray_of(near_pack), starts_at=m.TOMORROW + timedelta(hours=5))
    short = m.case(m.implant(name="Stent 14 × 40"), starts_at=m.TOMORROW)
    (walk,) = picking(DAY, at=BEFORE).theatres
    assert [(pick.pack and pick.pack.code, pick.place) for pick in walk.fetch] == [
        (near_pack.code, "Shelf 2"),
        (far_pack.code, "Shelf 10"),
        (unplaced.code, ""),
    ]
    waits = {pick.case.code: pick.why for pick in walk.wait}
    none = "Stent 14 × 40 is not in stock. The unit has none."
    assert waits == {again.code: f"It serves case {near.code} first.", short.code: none}
    assert far.code not in waits


def test_what_the_case_has_is_not_fetched_and_an_expired_pack_is_not() -> None:
    case, pack = served("Shelf 1")
    m.issued(pack, case)
    assert picking(DAY, at=BEFORE).theatres == ()
    _, stale = served("Shelf 1")
    Pack.objects.filter(pk=stale.pk).update(use_by=m.TOMORROW - timedelta(hours=2))
    (walk,) = picking(DAY, at=BEFORE).theatres
    assert (walk.fetch, len(walk.wait)) == ((), 1)


def test_a_single_pack_that_was_chosen_is_fetched() -> None:
    part = makers.part(single_use=True)
    pack = makers.maker_pack(part, expires=DAY + timedelta(days=90))
    case = m.case(part, starts_at=m.TOMORROW)
    actions.allocate(m.need(case).pk, pack=pack.code, act=act())
    (walk,) = picking(DAY, at=BEFORE).theatres
    assert [pick.pack for pick in walk.fetch] == [pack]


@needs_poppler
def test_each_theatre_has_a_page_of_its_own() -> None:
    (_, one), (_, two) = served("Shelf 1"), served("Shelf 2", in_theatre="Theatre 2")
    picks = picking(DAY, at=BEFORE)
    text = text_of(pick_list(picks))
    assert "Page 2 of 2" in text
    assert text.index(one.code) < text.index("Page 1 of 2") < text.index(two.code)
    only = picks.theatres[1].theatre.code
    assert one.code not in text_of(pick_list(picking(DAY, at=BEFORE, theatre=only)))


def test_the_pages_show_both_and_their_queries_do_not_grow() -> None:
    case, pack = served("Shelf 1")
    browser = signed_in(Role.NURSE)
    assert "Print the sheet" not in browser.client.get(f"/lists/{DAY}/go/").content.decode()
    assert case.code in browser.client.get(f"/lists/{DAY}/go/").content.decode()
    assert pack.code in browser.client.get(f"/lists/{DAY}/pick/").content.decode()
    assert browser.client.get(f"/lists/{DAY}/pick/list.pdf")["Content-Type"] == "application/pdf"
    before = [queries_of(browser, f"/lists/{DAY}/{page}/") for page in ("go", "pick")]
    for number in range(3):
        served(f"Shelf {number}")
    assert [queries_of(browser, f"/lists/{DAY}/{page}/") for page in ("go", "pick")] == before
