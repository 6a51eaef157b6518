"""Packs beside the loop: from the maker, on the shelf, kept apart, past their date, taken apart."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from instruments.models import PartKind, Piece
from instruments.states import PieceState
from journal.actions import Done
from journal.roles import Role
from tests import makers
from tests.makers import AT, act, refused
from trays.actions import (
    condemn_pack,
    expire_pack,
    finish_tray,
    quarantine_pack,
    receive_maker_pack,
    scrap_pack,
    store,
    take_apart,
)
from trays.models import Carried, Content, Lack, Pack, PackLine
from trays.states import ENDED, PACK_MOVES, PackKind, PackState

pytestmark = pytest.mark.django_db


def in_state(state: PackState, of: Pack | None = None) -> Pack:
    """A pack in a state that only upper apps lead to."""
    pack = of or makers.pack()
    barrier = {"barrier_intact": True} if state in (PackState.STERILE, PackState.ISSUED) else {}
    Pack.objects.filter(pk=pack.pk).update(state=state, **barrier)
    pack.refresh_from_db()
    return pack


def pieces_of(pack: Pack) -> QuerySet[Piece]:
    return Piece.objects.filter(contents__pack=pack)


# From the maker


def test_a_maker_sterile_item_is_received_onto_the_shelf() -> None:
    part = makers.part(PartKind.IMPLANT, name="Stent 14 × 40")
    done = receive_maker_pack(
        part.code, expires=date(2027, 3, 31), lot=" L-7 ", serial="", barrier_intact=True, act=act()
    )
    pack = Pack.objects.get(code=done.mark)
    piece = pieces_of(pack).get()
    assert (pack.state, pack.kind, pack.holds_implant, pack.barrier_intact) == ("sterile", PackKind.MAKER, True, True)
    assert pack.use_by.astimezone(AT.tzinfo).strftime("%d-%b-%Y %H:%M") == "31-Mar-2027 23:59"
    assert (piece.state, piece.lot, piece.expires, piece.maker_sterile) == (
        PieceState.PACKED,
        "L-7",
        date(2027, 3, 31),
        True,
    )
    assert [line.verb for line in PackLine.objects.filter(pack=pack)] == ["assemble", "receive"]


@pytest.mark.parametrize(
    ("fields", "slugs"),
    [
        ({"lot": " "}, ["lot-missing"]),
        ({"barrier_intact": False}, ["barrier-damaged"]),
        ({"expires": AT.date() - timedelta(days=1)}, ["expired"]),
        (
            {"lot": "", "barrier_intact": False, "expires": date(2020, 1, 1)},
            ["lot-missing", "barrier-damaged", "expired"],
        ),
    ],
)
def test_a_faulty_item_is_not_received(fields: dict[str, Any], slugs: list[str]) -> None:
    values = {"lot": "L-7", "barrier_intact": True, "expires": date(2027, 3, 31), **fields}
    part = makers.part(single_use=True)
    assert refused(lambda: receive_maker_pack(part.code, **values, act=act())) == slugs
    assert not Piece.objects.exists()


def test_a_serial_number_will_do_and_the_last_day_counts() -> None:
    part = makers.part(single_use=True)
    done = receive_maker_pack(part.code, expires=AT.date(), serial="S-1", barrier_intact=True, act=act())
    assert done.state == PackState.STERILE


def test_an_unknown_part_is_not_received() -> None:
    call = partial(receive_maker_pack, "NONE", expires=AT.date(), lot="1", barrier_intact=True, act=act())
    assert refused(call) == ["unknown-code"]


# Taken apart


def test_a_pack_taken_apart_gives_its_pieces_back_inspected() -> None:
    pack = makers.pack()
    done = take_apart(pack.code, reason="wrapped wrongly", act=act())
    assert done.state == PackState.VOID
    assert set(pieces_of(pack).values_list("state", flat=True)) == {PieceState.INSPECTED}
    assert not Carried.objects.exists()
    assert Content.objects.filter(pack=pack).exists()


def test_the_tray_of_a_pack_taken_apart_is_assembled_anew() -> None:
    tray = makers.tray()
    first = makers.pack(tray)
    pieces = list(pieces_of(first))
    take_apart(first.code, reason="label lost", act=act())
    makers.lay(tray, *pieces)
    assert finish_tray(tray.code, act=act()).mark != first.code


@pytest.mark.parametrize("state", [state for state in PackState if state != PackState.ASSEMBLED])
def test_only_an_assembled_pack_is_taken_apart(state: PackState) -> None:
    pack = in_state(state)
    assert refused(lambda: take_apart(pack.code, reason="why", act=act())) == ["wrong-state"]


# The shelf


def test_a_sterile_pack_is_stored() -> None:
    pack, shelf = in_state(PackState.STERILE), makers.place("Store A")
    store(pack.code, shelf.code, act=act())
    pack.refresh_from_db()
    assert pack.place == shelf
    assert PackLine.objects.get(pack=pack, verb="store").evidence == {"place": shelf.code}


@pytest.mark.parametrize("state", [state for state in PackState if state != PackState.STERILE])
def test_nothing_else_goes_on_the_shelf(state: PackState) -> None:
    pack, shelf = in_state(state), makers.place("Store A")
    assert refused(lambda: store(pack.code, shelf.code, act=act())) == ["wrong-state"]
    assert not PackLine.objects.filter(verb="store").exists()


def test_a_shelf_must_be_known() -> None:
    pack = in_state(PackState.STERILE)
    assert refused(lambda: store(pack.code, "NOWHERE", act=act())) == ["unknown-code"]
    assert refused(lambda: store("K999999X", "NOWHERE", act=act())) == ["unknown-code"]


# Past its date


def test_a_pack_past_its_date_leaves_the_shelf() -> None:
    pack = in_state(PackState.STERILE)
    late = act(at=pack.use_by + timedelta(minutes=1))
    assert expire_pack(pack.code, act=late).state == PackState.EXPIRED


def test_a_pack_in_date_stays_and_the_day_is_the_units_own() -> None:
    pack = in_state(PackState.STERILE)
    on_the_minute = act(at=pack.use_by)
    assert refused(lambda: expire_pack(pack.code, act=on_the_minute)) == ["in-date"]


# The end of a pack that reached no patient


@pytest.mark.parametrize("state", [PackState.EXPIRED, PackState.RECALLED])
def test_an_expired_or_recalled_pack_goes_back_to_the_washer(state: PackState) -> None:
    pack = in_state(state)
    done = scrap_pack(pack.code, act=act())
    assert (done.state, done.next_step) == (PackState.VOID, "Wash its pieces.")
    piece = pieces_of(pack).get()
    assert (piece.state, piece.cleaned_at) == (PieceState.RETURNED, None)
    assert PackLine.objects.get(pack=pack, verb="scrap").reason == f"pack {state}"
    assert not Carried.objects.exists()


def test_quarantine_ends_by_named_decision_only() -> None:
    pack = makers.pack()
    quarantine_pack(pack.code, reason="look-back", act=act(makers.person(Role.NURSE)))
    technician = act(makers.person(Role.TECHNICIAN))
    assert refused(lambda: condemn_pack(pack.code, reason="ruled out", act=technician)) == ["right-missing"]
    assert refused(lambda: condemn_pack(pack.code, reason="", act=act())) == ["reason-missing"]
    for leave in (take_apart, scrap_pack):
        assert refused(lambda: leave(pack.code, reason="why", act=act())) == ["wrong-state"]  # noqa: B023
    lead = act(makers.person(Role.QUALITY))
    assert condemn_pack(pack.code, reason="ruled out", act=lead).state == PackState.VOID
    assert pieces_of(pack).get().state == PieceState.RETURNED


def test_what_may_not_be_reprocessed_ends_with_its_pack() -> None:
    for permission, state in (("", PieceState.WITHDRAWN), ("maker's sheet 4", PieceState.RETURNED)):
        pack = makers.maker_pack(makers.part(single_use=True, reprocess_unused=permission))
        done = scrap_pack(in_state(PackState.EXPIRED, pack).code, act=act())
        piece = pieces_of(pack).get()
        assert piece.state == state
        assert (f"Discard {piece.part.name} {piece.code}." == done.next_step) == (state == PieceState.WITHDRAWN)


def test_of_a_mixed_pack_the_rest_is_washed() -> None:
    lasting, spent = makers.part(), makers.part(single_use=True)
    pack = in_state(PackState.EXPIRED, makers.pack(makers.tray(makers.template(lasting, spent))))
    done = scrap_pack(pack.code, act=act())
    assert done.next_step.startswith(f"Discard {spent.name}")
    assert done.next_step.endswith("; wash the rest.")
    states = dict(pieces_of(pack).values_list("part__code", "state"))
    assert states == {lasting.code: PieceState.RETURNED, spent.code: PieceState.WITHDRAWN}


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_a_pack_ends_once_whoever_ends_it() -> None:
    pack, who = in_state(PackState.QUARANTINED), act()
    answers = makers.at_once(*[lambda: condemn_pack(pack.code, reason="ruled out", act=who)] * 8)
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    assert PackLine.objects.filter(verb="condemn").count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_packs_ended_at_once_in_any_order_do_not_wait_for_each_other_in_a_ring() -> None:
    packs, who = [in_state(PackState.EXPIRED) for _ in range(4)], act()
    calls = [partial(scrap_pack, pack.code, act=who) for pack in (*packs, *reversed(packs))]
    answers = makers.at_once(*calls)
    assert sum(isinstance(answer, Done) for answer in answers) == 4
    assert set(Pack.objects.values_list("state", flat=True)) == {PackState.VOID}


# Rights


@pytest.mark.parametrize(
    ("verb", "state"),
    [
        ("take_apart", PackState.ASSEMBLED),
        ("quarantine", PackState.STERILE),
        ("condemn", PackState.QUARANTINED),
        ("expire", PackState.STERILE),
        ("scrap", PackState.EXPIRED),
    ],
)
def test_every_verb_needs_its_right(verb: str, state: PackState) -> None:
    pack, nobody = in_state(state), act(makers.person(), at=AT + timedelta(days=999))
    calls: dict[str, Callable[[], Done]] = {
        "take_apart": lambda: take_apart(pack.code, reason="why", act=nobody),
        "quarantine": lambda: quarantine_pack(pack.code, reason="why", act=nobody),
        "condemn": lambda: condemn_pack(pack.code, reason="why", act=nobody),
        "expire": lambda: expire_pack(pack.code, act=nobody),
        "scrap": lambda: scrap_pack(pack.code, act=nobody),
    }
    assert refused(calls[verb]) == ["right-missing"]
    assert Pack.objects.get(pk=pack.pk).state == state


def test_storing_and_receiving_need_their_right() -> None:
    pack, shelf, nobody = in_state(PackState.STERILE), makers.place(), act(makers.person())
    assert refused(lambda: store(pack.code, shelf.code, act=nobody)) == ["right-missing"]
    part = makers.part()
    call = partial(receive_maker_pack, part.code, expires=AT.date(), lot="1", barrier_intact=True, act=nobody)
    assert refused(call) == ["right-missing"]


# What the database holds


@pytest.mark.storage
@pytest.mark.parametrize("intact", [None, False])
@pytest.mark.parametrize("state", [PackState.STERILE, PackState.ISSUED])
def test_never_1_no_pack_is_sterile_or_issued_without_an_intact_barrier(state: PackState, intact: bool | None) -> None:
    pack = makers.pack()
    with pytest.raises(IntegrityError), transaction.atomic():
        Pack.objects.filter(pk=pack.pk).update(state=state, barrier_intact=intact)


@pytest.mark.storage
@pytest.mark.parametrize(
    "wrong",
    [
        {"state": "lost"},
        {"kind": "parcel"},
        {"tray": None},
        {"version": None},
        {"incomplete_reason": "in repair"},
    ],
)
def test_the_database_refuses_a_pack_that_makes_no_sense(wrong: dict[str, Any]) -> None:
    pack = makers.pack()
    with pytest.raises(IntegrityError), transaction.atomic():
        Pack.objects.filter(pk=pack.pk).update(**wrong)


@pytest.mark.storage
def test_contents_and_lacks_never_change() -> None:
    pack = makers.pack()
    with pytest.raises(IntegrityError), transaction.atomic():
        Content.objects.filter(pack=pack).update(position=7)
    with pytest.raises(IntegrityError), transaction.atomic():
        Content.objects.filter(pack=pack).delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Lack.objects.create(pack=pack, part_code="X", part_name="X", quantity=0)


def test_a_pack_that_ended_carries_nothing_and_has_no_way_back() -> None:
    assert not any(move.origins & ENDED for move in PACK_MOVES.values())
