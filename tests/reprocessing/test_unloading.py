"""Unloading: how each pack was found and what follows from it, and the washer's record of doses."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from instruments.models import Piece
from instruments.states import PieceState
from reprocessing import actions
from reprocessing.models import LoadLine, LoadPack
from reprocessing.states import LoadState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import ENDED, refused
from trays.states import PackState

pytestmark = pytest.mark.django_db


def returned() -> Piece:
    return makers.piece(state=PieceState.RETURNED)


def test_unloading_reports_every_barrier() -> None:
    load = make.running(make.load(None, makers.pack(), makers.pack()))
    actions.unload(load.code, act=act(at=ENDED))
    load.refresh_from_db()
    assert (load.state, load.ended_at) == (LoadState.AWAITING_RELEASE, ENDED)
    rows = load.load_packs.select_related("pack")
    assert {(row.open, row.barrier_intact, row.pack.state, row.pack.barrier_intact) for row in rows} == {
        (True, True, PackState.AWAITING_RELEASE, True)
    }


@pytest.mark.storage
def test_each_fault_of_a_pack_has_its_own_consequence() -> None:
    """Wet or dropped: washed again. Torn: checked and wrapped anew. All have seen a cycle, and end."""
    packs = {name: makers.pack() for name in ("wet", "torn", "dropped", "good")}
    load = make.running(make.load(None, *packs.values()))
    pieces = {name: Piece.objects.get(carried__pack=pack) for name, pack in packs.items()}
    faults: dict[str, Any] = {name: (packs[name].code,) for name in ("wet", "torn", "dropped")}
    done = actions.unload(load.code, **faults, act=act(at=ENDED))
    assert "Torn or open and ended: 1 pack, check and wrap anew" in done.sentence
    found = {}
    for name, piece in pieces.items():
        piece.refresh_from_db()
        found[name] = (piece.state, piece.cycles)
    assert found == {
        "wet": (PieceState.RETURNED, 1),
        "torn": (PieceState.INSPECTED, 1),
        "dropped": (PieceState.RETURNED, 1),
        "good": (PieceState.PACKED, 0),
    }
    rows = dict(LoadPack.objects.values_list("pack__code", "condition"))
    assert rows == {
        packs["wet"].code: "wet",
        packs["torn"].code: "torn or open",
        packs["dropped"].code: "dropped",
        packs["good"].code: "dry and intact",
    }
    twice = make.running(make.load(load.machine, makers.pack()))
    code = twice.load_packs.get().pack.code
    both: dict[str, Any] = {"wet": (code,), "torn": (code,)}
    assert refused(lambda: actions.unload(twice.code, **both, act=act(at=ENDED))) == ["said-twice"]


def test_a_wet_pack_ends_and_its_pieces_go_before_the_washer() -> None:
    wet, dry = makers.pack(), makers.pack()
    load = make.running(make.load(None, wet, dry))
    pieces = list(Piece.objects.filter(carried__pack=wet))
    done = actions.unload(load.code, wet=(wet.code,), act=act(at=ENDED))
    assert "Wet and ended: 1 pack, wash and pack anew" in done.sentence
    wet.refresh_from_db()
    assert (wet.state, wet.barrier_intact) == (PackState.VOID, False)
    assert not Piece.objects.filter(carried__pack=wet).exists()
    for piece in pieces:
        piece.refresh_from_db()
        assert (piece.state, piece.cycles) == (PieceState.RETURNED, 1)
    row = LoadPack.objects.get(pack=wet)
    assert (row.open, row.barrier_intact) == (False, False)
    assert LoadPack.objects.get(pack=dry).barrier_intact is True


def test_only_packs_of_the_load_can_be_damaged() -> None:
    load, other = make.running(), makers.pack()
    assert refused(lambda: actions.unload(load.code, wet=(other.code,), act=act(at=ENDED))) == ["not-in-load"]


def test_a_load_does_not_end_before_it_started() -> None:
    load = make.running()
    before = act(at=AT - timedelta(minutes=1))
    assert refused(lambda: actions.unload(load.code, act=before)) == ["ends-before-start"]


def test_a_load_that_has_not_started_cannot_be_unloaded() -> None:
    load = make.load()
    assert refused(lambda: actions.unload(load.code, act=act())) == ["wrong-state"]


def test_an_immediate_use_item_has_no_barrier_to_look_at() -> None:
    make.policy("immediate_use", value=True)
    quick = makers.programme("IMM", immediate=True)
    item = make.immediate(makers.part(programmes=[makers.programme("W90", kind="wash"), quick]))
    make.ended(make.load(make.machine(programmes=[quick]), item, programme="IMM"))
    item.refresh_from_db()
    assert (item.state, item.barrier_intact) == (PackState.AWAITING_RELEASE, None)


# The record of doses


@pytest.mark.parametrize("recorded", [True, False])
def test_the_record_of_doses_is_looked_at_later(*, recorded: bool) -> None:
    load = make.ended(make.load(make.washer(), returned()), dosing_recorded=None)
    assert load.dosing_recorded is None
    actions.record_dosing(load.code, recorded=recorded, act=act(at=ENDED))
    load.refresh_from_db()
    assert load.dosing_recorded is recorded
    assert LoadLine.objects.filter(load=load, verb="record_dosing", evidence__dosing_recorded=recorded).exists()


def test_doses_are_recorded_of_a_washer_that_has_ended() -> None:
    steam, washing = make.ended(), make.running(make.load(make.washer(), returned()))
    assert refused(lambda: actions.record_dosing(steam.code, recorded=True, act=act())) == ["no-washer"]
    assert refused(lambda: actions.record_dosing(washing.code, recorded=True, act=act())) == ["wrong-state"]
    by = act(makers.person())
    assert refused(lambda: actions.record_dosing(washing.code, recorded=True, act=by)) == ["right-missing"]
