"""A piece that is read as columns is the piece that is read as a row."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models import Q

from instruments.models import PartKind, Piece
from instruments.states import PieceState
from lists.reads.pieces import found_elsewhere, found_pieces
from lists.stages import Stage
from tests import makers
from tests.lists import makers as m
from tests.makers import AT, act
from tests.reprocessing import makers as make
from trays import actions as tray_actions
from trays.reads import items

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def test_each_kind_of_piece_is_to_the_rules_what_its_row_is() -> None:
    series = makers.series("7.5")
    sized = makers.part(PartKind.BARREL, size=makers.size(series, "7.5"), life_limit=9, insulated=True)
    expires = AT.date() + timedelta(days=1)
    makers.piece(sized, expires=expires, cycles=5, service_due=AT.date(), called_back="L1")
    makers.borrowed(makers.loan(instructions=""), makers.part(function_test=True, take_apart="the valve"))
    makers.piece(makers.part(programmes=[]))
    broken = makers.piece()
    makers.maker_pack(m.implant())
    Piece.objects.filter(pk=broken.pk).update(state=PieceState.IN_REPAIR, function_ok=False)
    rows = list(Piece.objects.select_related("part__size__series", "loan").order_by("code"))
    found = found_pieces(Q())
    assert tuple(one.item for one in found) == items(rows)
    assert [one.sized for one in found if one.sized] == [(PartKind.BARREL, series.code, "7.5")]
    assert {one.item.wear.papers is not None for one in found} == {True, False}
    (elsewhere,) = found_elsewhere([broken.part.code])
    assert (elsewhere.code, elsewhere.stage) == (broken.code, None)


def test_where_a_piece_is_goes_by_what_it_is_in_or_on() -> None:
    store = makers.place("Store B")
    shelved = makers.piece(place=store)
    lost = makers.piece()
    washed = makers.piece(state=PieceState.RETURNED)
    load = make.running(make.load(make.washer(), washed))
    tray = m.one_line()
    laid = makers.piece(m.wanted_part(tray))
    makers.lay(tray, laid)
    closed = makers.tray(tray.template, closed=True)
    own = makers.piece(m.wanted_part(tray))
    tray_actions.join_closed_set(own.code, closed.code, reason="tissue risk", act=act())
    pack = m.returned()
    (back, *_) = m.pieces_of(pack)
    found = {one.code: one for one in found_pieces(Q())}
    assert {found[one.code].where for one in (shelved, lost)} == {
        "inspected in Store B",
        "inspected, its place is not recorded",
    }
    assert (found[washed.code].where, found[washed.code].stage) == (f"in washer, load {load.code}", Stage.IN_WASHER)
    assert found[washed.code].since is not None
    assert (found[laid.code].where, found[laid.code].tray, found[laid.code].stage) == (
        f"on {tray.name}",
        tray.pk,
        None,
    )
    assert (found[own.code].closed_tray, found[laid.code].closed_tray) == (closed.pk, None)
    assert (found[back.code].last_tray, found[own.code].last_tray) == (m.tray_of(pack).code, "")
