"""Look back from a mark, a machine or a lot: counts, both sides, the table, a constant number of queries."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from instruments.models import Piece
from journal.roles import Role
from lists import actions
from lists.lineage import Node, Sort
from lists.models import Case
from lists.reads.tracing import trace
from reprocessing.models import Load
from tests import makers
from tests.lists.makers import case as a_case
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from tests.reprocessing.pages import Browser
from trays.models import Pack, Tray

pytestmark = pytest.mark.django_db


def used(*packs: Pack) -> tuple[str, str]:
    """Packs sterilised together, the first of them opened at a case: codes of the load and the case."""
    load, served = make.released(make.load(None, *packs)), a_case()
    actions.issue(packs[0].code, served.code, barrier_intact=True, act=act(at=DECIDED))
    actions.open_pack(packs[0].code, served.code, act=act(at=DECIDED))
    return load.code, served.code


def test_a_page_from_a_load_to_its_cases_and_its_table() -> None:
    load, served = used(makers.pack(), makers.pack())
    browser = Browser(makers.person(Role.QUALITY))
    assert browser.read("/look-back/").count("Came from") == 0
    page = browser.read(f"/look-back/?q={load}")
    assert "1 opened, 1 sterile" in page
    assert served in page
    rows = list(csv.reader(io.StringIO(browser.source(f"/look-back/table.csv?q={load}&turns=any"))))
    assert rows[0][1] == f"q={load}; turns=any"
    assert ["Went to", "case", served] in [row[:3] for row in rows]
    assert ["Came from", "load", load] in [
        row[:3] for row in csv.reader(io.StringIO(browser.source(f"/look-back/table.csv?q={served}")))
    ]


def test_from_a_machine_a_tray_a_lot_and_from_nothing() -> None:
    pack = makers.pack()
    load, _ = used(pack)
    browser = Browser(makers.person(Role.QUALITY))
    machine = Load.objects.get(code=load).machine.code
    assert pack.code in browser.read(f"/look-back/?q={machine}&since=2026-11-24&until=2026-11-24")
    assert "nothing to begin with" in browser.read(f"/look-back/?q={machine}&since=2026-11-25")
    assert load in browser.read(f"/look-back/?q={Tray.objects.get(packs=pack).code}")
    assert load in browser.read("/look-back/?q=lot 7")
    assert "Cannot find" in browser.read("/look-back/?q=unheard-of")
    assert "Cannot" not in browser.read("/look-back/?q=&turns=9")


def test_queries_do_not_grow_with_what_is_found() -> None:
    few, many = used(makers.pack()), used(*(makers.pack() for _ in range(6)))
    counts = []
    for code, _ in (few, many):
        start = Node(Sort.LOAD, Load.objects.get(code=code).pk)
        with CaptureQueriesContext(connection) as asked:
            trace([start], forward=True, turns=None)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_a_later_case_of_the_same_piece_is_found_forward_and_not_back() -> None:
    piece = makers.piece()
    first = used(makers.single(piece))[1]
    makers.move(piece, "take_back", at=DECIDED)
    Pack.objects.update(state="returned")
    Pack.objects.get().carried.all().delete()
    again = makers.process(Piece.objects.get(pk=piece.pk), at=DECIDED + timedelta(hours=1))
    second = makers.single(again, at=DECIDED + timedelta(hours=2))
    begun = Node(Sort.CASE, Case.objects.get(code=first).pk)
    assert second.code in {row.code for row in trace([begun], forward=True, turns=0).reached}
    assert second.code not in {row.code for row in trace([begun], forward=False, turns=0).reached}
