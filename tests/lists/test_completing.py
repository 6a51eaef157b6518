"""Trays to complete for a day: the read, its page, the work sheet; moves are done by the bench's own actions."""

from __future__ import annotations

import shutil
import subprocess
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from instruments.actions import send_to_repair
from instruments.models import Part, Piece
from lists import actions
from lists.models import StandingSet
from lists.paper import work_sheet
from lists.reads import Completing, completing
from tests import makers
from tests.lists import makers as m
from tests.makers import act
from trays import actions as tray_actions
from trays.models import Pack, Tray

pytestmark = pytest.mark.django_db

DAY = timezone.localdate(m.TOMORROW)


def found() -> Completing:
    return completing(DAY, at=m.NOON)


def short_tray(*there: Part, lacks: Part, **fields: Any) -> Tray:
    """A tray on the bench that lacks one part."""
    tray = makers.tray(makers.template(*there, lacks), **fields)
    return makers.lay(tray, *[makers.piece(part) for part in there])


def unit() -> tuple[Tray, Tray, Piece, Piece]:
    """A tray for a case of tomorrow that lacks two parts: one is on the shelf, one on a tray that stays short."""
    base, shelf, lead, seal = (makers.part(name=name) for name in ("Base", "Sheath 5.0", "Light lead", "Seal cap"))
    tray = makers.lay(makers.tray(makers.template(base, shelf, lead), name="Child tray A"), makers.piece(base))
    donor = short_tray(lead, lacks=seal, name="Adult tray C")
    on_shelf = makers.piece(shelf, place=makers.place("Store B"))
    m.case_with(tray)
    return tray, donor, on_shelf, Piece.objects.get(part=lead)


def test_moves_come_from_the_shelf_and_from_an_incomplete_tray_and_go_when_they_are_done() -> None:
    tray, donor, on_shelf, lead = unit()
    day = found()
    assert day.words == "1 of 1 trays that are still needed can be completed with 2 moves."
    assert [(halt.place, halt.donor, [move.item.code for move in halt.moves]) for halt in day.walk] == [
        ("Store B", "", [on_shelf.code]),
        ("", "Adult tray C", [lead.code]),
    ]
    assert not day.can[0].other_chosen
    tray_actions.put_on_tray(on_shelf.code, tray.code, act=act())
    assert found().words.endswith("with 1 move.")
    tray_actions.take_off_tray(lead.code, tray=donor.code, act=act())
    tray_actions.put_on_tray(lead.code, tray.code, act=act())
    day = found()
    assert (day.moves, len(day.can), len(day.laid)) == ((), 1, 3)
    tray_actions.finish_tray(tray.code, act=act())
    assert (found().words, found().covered) == ("No tray has to be completed.", 1)


def test_what_a_tray_lacks_in_the_whole_unit_is_said_with_where_the_pieces_are() -> None:
    part = makers.part(name="Seal cap")
    tray = short_tray(makers.part(), lacks=part)
    m.case_with(tray)
    assert found().cannot[0].reasons == ("1 × Seal cap lacks. The unit has no other.",)
    gone = [makers.piece(part) for _ in range(4)]
    for piece in gone[:2]:
        send_to_repair(piece.code, reason="worn", act=act())
    makers.single(gone[2])
    Piece.objects.filter(pk=gone[3].pk).update(service_due=DAY - timedelta(days=30))
    (reason,) = found().cannot[0].reasons
    assert f"{gone[0].code} is in repair" in reason
    assert f"{gone[3].code} is inspected (Cannot pack" in reason
    assert ", and 1 more not to be had." in reason


def test_the_earlier_case_gets_the_piece_and_the_later_is_told_where_it_goes() -> None:
    part = makers.part(name="Seal cap")
    first, second = (short_tray(makers.part(), lacks=part, name=name) for name in ("Tray A", "Tray B"))
    piece = makers.piece(part)
    m.case_with(first)
    m.case_with(second, starts_at=m.TOMORROW + timedelta(hours=2))
    day = found()
    assert len(day.can) == 1
    assert day.cannot[0].reasons[0].endswith(f"{piece.code} is inspected, goes to {day.can[0].lying.tray.name}.")


def test_a_tray_of_the_kind_serves_although_another_is_chosen() -> None:
    part = makers.part()
    template = makers.template(part)
    chosen, other = makers.tray(template), makers.tray(template)
    m.case_with(chosen)
    Tray.objects.filter(pk=chosen.pk).update(in_service=False)
    makers.lay(other, makers.piece(part))
    (row,) = found().can
    assert (row.lying.tray.code, row.other_chosen, row.moves) == (other.code, True, ())


def test_packs_that_nobody_was_promised_meet_needs_beyond_the_standing_minimum() -> None:
    pack = m.sterile()
    template = m.tray_of(pack).template
    m.case(template, starts_at=m.TOMORROW)
    assert (found().covered, found().cannot) == (1, ())
    StandingSet.objects.create(template=template, minimum=1)
    day = found()
    assert (day.covered, [row.wish.case is None for row in day.cannot]) == (0, [False])
    assert day.cannot[0].reasons[-1].startswith("No tray of ")


def test_a_standing_set_below_its_minimum_is_completed_too() -> None:
    tray = short_tray(makers.part(), lacks=(part := makers.part()))
    makers.piece(part)
    StandingSet.objects.create(template=tray.template, minimum=2)
    day = found()
    assert [row.wish.case for row in day.can] == [None]
    assert len(day.cannot) == 1


def test_two_cases_that_share_a_tray_need_it_once() -> None:
    tray = short_tray(makers.part(), lacks=(part := makers.part()))
    makers.piece(part)
    m.case_with(tray)
    later = m.case(tray.template, starts_at=m.TOMORROW + timedelta(hours=9))
    actions.allocate(m.need(later).pk, tray=tray.code, reason="turn-round", act=act())
    assert (len(found().can), found().cannot) == (1, ())


def test_a_case_that_a_completed_tray_would_reach_too_late_is_told_apart() -> None:
    tray = short_tray(makers.part(), lacks=makers.part())
    m.case_with(tray, starts_at=m.NOON + timedelta(minutes=30))
    day = completing(timezone.localdate(m.NOON), at=m.NOON)
    assert ([wish.tray for wish in day.late], day.can, day.cannot) == ([tray.code], (), ())


def test_needs_for_single_packs_are_no_concern_of_trays() -> None:
    m.case(m.implant(), starts_at=m.TOMORROW)
    assert found().words == "No tray has to be completed."


def page(client: Client) -> str:
    client.force_login(makers.everybody())
    return client.get(f"/lists/{timezone.localdate() + timedelta(days=1)}/complete/").content.decode()


def now_unit() -> tuple[Tray, Tray, Piece, Piece]:
    """The unit with its case on the day after the clock's."""
    made = unit()
    case = made[0].allocations.get().requirement.case
    starts_at = timezone.localtime().replace(hour=12, minute=0) + timedelta(days=1)
    actions.move_case(case.code, starts_at, act=act())
    return made


def test_the_page_lists_the_moves_by_place_with_the_way_to_each_bench(client: Client) -> None:
    tray, donor, on_shelf, lead = now_unit()
    shown = page(client)
    assert "can be completed with 2 moves" in shown
    assert shown.index("Store B") < shown.index(on_shelf.code) < shown.index("Adult tray C") < shown.index(lead.code)
    assert f'href="/trays/{tray.code}/bench/"' in shown
    assert f'href="/trays/{donor.code}/bench/?piece={lead.code}"' in shown


def test_the_number_of_queries_does_not_grow(client: Client, django_assert_max_num_queries: Any) -> None:
    now_unit()
    with django_assert_max_num_queries(70):
        page(client)
    with django_assert_max_num_queries(45):
        found()
    for _ in range(4):
        unit()
    with django_assert_max_num_queries(45):
        found()


def poppler(*command: str, document: bytes) -> str:
    """What a Poppler program prints about a document, in one row."""
    found = subprocess.run(command, input=document, check=True, capture_output=True)
    return " ".join(found.stdout.decode().split())


needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler-utils")


@needs_poppler
def test_the_sheet_is_tagged_and_says_every_move_once(client: Client) -> None:
    tray, donor, on_shelf, lead = now_unit()
    client.force_login(makers.everybody())
    answer = client.get(f"/lists/{timezone.localdate() + timedelta(days=1)}/complete/sheet.pdf")
    assert answer["Content-Type"] == "application/pdf"
    text = poppler("pdftotext", "-layout", "-", "-", document=answer.content)
    assert (text.count(on_shelf.code), text.count(lead.code)) == (1, 1)
    assert f"From Adult tray C {donor.code}: take off first" in text
    assert tray.code in text
    assert "Page 1 of 1" in text
    assert "Tagged: yes" in poppler("pdfinfo", "-", document=answer.content)


@needs_poppler
def test_a_long_walk_runs_over_pages_with_its_day_on_each() -> None:
    parts = [makers.part() for _ in range(60)]
    tray = makers.tray(makers.template(*parts))
    for part in parts:
        makers.piece(part)
    m.case_with(tray)
    document = work_sheet(found())
    text = poppler("pdftotext", "-layout", "-", "-", document=document)
    assert "Page 2 of 2" in text
    assert text.count(f"{DAY:%d-%b-%Y}") >= 2
    assert Pack.objects.count() == 0
