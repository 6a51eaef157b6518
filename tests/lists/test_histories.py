"""What led to a case, and what a piece and a pack were used for."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from instruments import actions as instrument_actions
from instruments.models import Piece
from instruments.states import PieceState
from lists import actions
from lists.models import Case
from lists.reads import case_history, pack_history, piece_history
from reprocessing import actions as reprocessing_actions
from reprocessing.models import Load
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from trays import actions as tray_actions
from trays.models import Pack

pytestmark = pytest.mark.django_db


def used_day() -> tuple[Case, Pack, Piece, Load, Load]:
    """A piece washed, packed, sterilised and used in a case."""
    piece = makers.piece(state=PieceState.RETURNED)
    wash = make.released(make.load(make.washer(), piece))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=DECIDED))
    tray = makers.tray(makers.template(makers.line(piece.part)))
    tray_actions.put_on_tray(piece.code, tray.code, act=act(at=DECIDED))
    pack = m.sterile(Pack.objects.get(code=tray_actions.finish_tray(tray.code, act=act(at=DECIDED)).mark))
    m.returned(pack)
    actions.count_piece(piece.code, act=act(at=NOON))
    return m.case_of(pack), pack, piece, wash, Load.objects.get(load_packs__pack=pack)


def test_from_the_case_to_each_load_and_piece() -> None:
    case, pack, piece, wash, sterilised = used_day()
    history = case_history(case)
    (path,) = history.packs
    assert path.pack == pack
    assert [(row.content.piece, row.wash) for row in path.pieces] == [(piece, wash)]
    assert (path.loads, path.washes) == ((sterilised,), (wash,))
    assert [line.verb for line in history.lines] == ["plan", "issue", "begin", "open", "take_back", "close_count"]
    assert history.implants == ()


def test_from_the_piece_and_from_the_pack_to_the_case() -> None:
    case, pack, piece, wash, sterilised = used_day()
    of_piece, of_pack = piece_history(piece), pack_history(pack)
    assert of_piece.cases == of_pack.cases == (case,)
    assert of_piece.washes == (wash,)
    assert [path.loads for path in of_piece.packs] == [(sterilised,)]
    assert [line.verb for line in of_piece.lines][-2:] == ["use", "take_back"]
    assert of_pack.lines[0].verb == "assemble"
    assert of_pack.path.pieces[0].content.piece == piece


def test_a_wash_after_the_pack_is_not_the_wash_before_it() -> None:
    case, _, piece, wash, _ = used_day()
    later = make.load(make.washer(), piece)
    make.running(later, at=NOON)
    reprocessing_actions.unload(later.code, dosing_recorded=True, act=act(at=NOON + timedelta(hours=1)))
    Load.objects.filter(pk=later.pk).update(state="released")
    assert case_history(case).packs[0].washes == (wash,)


def test_the_history_of_a_piece_leaves_out_its_neighbours() -> None:
    pack = m.returned(m.sterile(makers.tray(makers.template(makers.line(makers.part(), 2)))))
    first, second = m.pieces_of(pack)
    (path,) = piece_history(first).packs
    assert [row.content.piece for row in path.pieces] == [first]
    assert second in [row.content.piece for row in pack_history(pack).path.pieces]


def test_the_history_of_a_case_names_its_implants() -> None:
    implant = m.implant()
    pack = m.opened(makers.maker_pack(implant), m.case(implant))
    (piece,) = m.pieces_of(pack)
    case = m.case_of(pack)
    actions.implant_piece(piece.code, case.code, act=act(at=NOON))
    (line,) = case_history(case).implants
    assert (line.evidence["lot"], line.evidence["piece"]) == ("LOT-1", piece.code)
    assert case_history(case).packs[0].pieces[0].wash is None


def test_histories_take_the_same_number_of_queries_however_long_they_are() -> None:
    case = m.case()
    counts = []
    for _ in range(2):
        for _ in range(2):
            m.issued(m.sterile(), case)
        with CaptureQueriesContext(connection) as queries:
            case_history(case)
        counts.append(len(queries))
    assert counts[0] == counts[1]
