"""Stage times from the trails of real work, and their page."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from instruments.models import Piece
from instruments.states import PieceState
from journal.roles import Role
from lists import actions
from lists.reads.stage_learning import StageRow, learned_stages
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import queries_of, signed_in
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import words
from trays.models import Pack

pytestmark = pytest.mark.django_db

NOON = m.NOON
LATER = AT + timedelta(days=1)


def rows() -> dict[str, StageRow]:
    return {row.name: row for row in learned_stages(at=LATER)}


def counted(row: StageRow) -> tuple[int, float | None]:
    return row.known.count, row.known.median_min


def tray_pieces(pack: Pack) -> list[Piece]:
    return [content.piece for content in pack.contents.select_related("piece")]


def test_without_any_work_every_stage_is_its_policy() -> None:
    assert [row.known.used_min for row in rows().values()] == [25, 10, 75, 20, 55, 40]
    assert {row.known.count for row in rows().values()} == {0}
    make.policy("preclean_min", 0)
    assert rows()["Pre-clean"].known.policy_min == 1


def test_loads_give_cycles_and_the_time_until_release() -> None:
    make.released()
    make.ended(make.load(make.washer(), makers.piece(state=PieceState.RETURNED)))
    make.running()
    found = rows()
    assert counted(found["Steriliser"]) == (1, 60)
    assert counted(found["Washer-disinfector"]) == (1, 60)
    assert counted(found["Cooling and release"]) == (1, 10)


def test_benches_give_the_wait_for_the_washer_and_the_time_from_inspection_to_packing() -> None:
    """Two pieces are inspected ten minutes apart and packed at once; a third lay inspected since the day before."""
    part = makers.part()
    tray = makers.tray(makers.template(makers.line(part, 3)))
    times = (AT - timedelta(days=1), AT, AT + timedelta(minutes=10))
    makers.lay(tray, *(makers.piece(part, at=at) for at in times), at=AT + timedelta(minutes=10))
    pack = m.sterile(makers.pack(tray, at=AT + timedelta(minutes=25)))
    m.returned(pack)
    for piece in tray_pieces(pack):
        makers.move(piece, "take_back", at=NOON)
        makers.move(piece, "put_in_washer", at=NOON + timedelta(minutes=18))
    found = rows()
    assert counted(found["Inspection and assembly"]) == (1, 25)
    assert counted(found["Pre-clean"]) == (1, 18)


def test_the_way_back_begins_with_the_end_of_the_case() -> None:
    pack = m.opened()
    case = m.case_of(pack)
    actions.end_case(case.code, act=act(at=NOON + timedelta(minutes=40)))
    actions.take_back(pack.code, act=act(at=NOON + timedelta(minutes=62)))
    assert counted(rows()["Back from the theatre"]) == (1, 22)


def test_what_was_entered_together_is_told_and_not_learned_from() -> None:
    makers.pack()
    row = rows()["Inspection and assembly"]
    assert (row.known.count, row.left_out) == (0, 1)


def test_the_page_says_policy_record_and_both() -> None:
    make.released()
    browser = signed_in(Role.NURSE)
    page = words(browser.client.get(reverse("stage-times")).content.decode())
    assert "Steriliser 55 min 1 60 min 5 % 55 min" in page
    assert "none yet" in page


def test_the_page_asks_the_same_of_the_database_however_much_was_done() -> None:
    browser, address = signed_in(Role.NURSE), reverse("stage-times")
    browser.client.get(address)
    before = queries_of(browser, address)
    m.returned()
    m.returned()
    assert queries_of(browser, address) == before
