"""Loads that are split and merged before their start: nothing is ever in two, and every trail tells it."""

from __future__ import annotations

from functools import partial

import pytest

from instruments.models import Piece
from instruments.states import PieceState
from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Load, LoadPack, LoadPiece
from reprocessing.reads import builders
from reprocessing.states import LoadKind, LoadState, MachineKind
from tests import makers
from tests.makers import act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import WRITERS, one_of, race, refused
from tests.reprocessing.pages import Browser, page
from trays.models import Pack
from trays.states import PackState

db = pytest.mark.django_db


def building(count: int = 3, **fields: object) -> tuple[Load, list[Pack]]:
    packs = [makers.pack() for _ in range(count)]
    return make.load(make.machine(**fields), *packs), packs  # type: ignore[arg-type]


def split(load: Load, *things: Pack | Piece, **more: str) -> Load:
    codes = tuple(thing.code for thing in things)
    return Load.objects.get(code=actions.split_load(load.code, codes, **more, act=act()).mark)


def inside(load: Load) -> set[str]:
    packs = load.load_packs.filter(open=True).values_list("pack__code", flat=True)
    return {*packs, *load.load_pieces.filter(open=True).values_list("piece__code", flat=True)}


@pytest.mark.storage
@db
def test_packs_are_split_off_onto_another_machine_and_both_loads_run() -> None:
    load, (first, second, third) = building()
    other = make.machine()
    made = split(load, second, third, machine=other.code)
    assert (made.machine, made.programme, made.state) == (other, load.programme, LoadState.BUILDING)
    assert (inside(load), inside(made)) == ({first.code}, {second.code, third.code})
    assert {pack.state for pack in Pack.objects.all()} == {PackState.IN_STERILISER}
    for row in (load, made):
        said = row.lines.get(verb="split_load").evidence
        assert (said["from"], said["to"], said["packs"]) == (load.code, made.code, [second.code, third.code])
    assert second.lines.get(verb="change_load").evidence == {"from": load.code, "to": made.code}
    assert not first.lines.filter(verb="change_load").exists()
    assert {make.running(row).state for row in (load, made)} == {LoadState.RUNNING}


@db
def test_a_washer_load_is_split_by_sets_and_pieces() -> None:
    washer = make.washer()
    pieces = [makers.piece(state=PieceState.RETURNED) for _ in range(3)]
    load = make.load(washer, *pieces)
    made = split(load, pieces[0])
    assert (inside(made), inside(load)) == ({pieces[0].code}, {pieces[1].code, pieces[2].code})
    assert pieces[0].lines.filter(verb="change_load").exists()
    came = makers.pack()
    load.load_pieces.filter(piece=pieces[1]).update(came_with=came)
    actions.split_load(load.code, (came.code,), act=act())
    assert inside(load) == {pieces[2].code}


@pytest.mark.storage
@db
def test_two_loads_are_merged_and_the_empty_one_is_taken_up_again() -> None:
    load, packs = building(2)
    other, more = building(1)
    actions.merge_loads(load.code, other.code, act=act())
    assert inside(other) == {pack.code for pack in (*packs, *more)}
    assert (inside(load), load.lines.filter(verb="merge_loads").count()) == (set(), 1)
    assert other.lines.get(verb="merge_loads").evidence["packs"] == [pack.code for pack in packs]
    assert actions.open_load(load.machine.code, "S134", act=act()).mark == load.code
    assert make.running(other).state == LoadState.RUNNING


@db
def test_3_who_built_a_load_stays_a_builder_of_what_came_of_it() -> None:
    first, second = make.technician(), make.technician()
    load = make.load(None, makers.pack(), makers.pack(), by=first)
    code = load.load_packs.first().pack.code  # type: ignore[union-attr]
    made = Load.objects.get(code=actions.split_load(load.code, (code,), act=act(second)).mark)
    assert builders(made) == (second, first)
    assert builders(load) == (first,)


@pytest.mark.parametrize("things", [(), ("K0000000",)])
@db
def test_a_split_names_some_of_what_is_in_the_load(things: tuple[str, ...]) -> None:
    load, packs = building(2)
    slug = "not-in-load" if things else "split-of-nothing"
    assert refused(lambda: actions.split_load(load.code, things, act=act())) == [slug]
    everything = tuple(pack.code for pack in packs)
    assert refused(lambda: actions.split_load(load.code, everything, act=act())) == ["split-of-nothing"]
    assert Load.objects.count() == 1


@db
def test_a_split_goes_to_a_machine_of_its_kind_and_a_programme_of_that_machine() -> None:
    load, (pack, _) = building(2)
    cold, ask = make.machine(MachineKind.LOW_TEMPERATURE), partial(actions.split_load, load.code, (pack.code,))
    assert "machine-of-another-kind" in refused(lambda: ask(machine=cold.code, act=act()))
    assert refused(lambda: ask(programme="LT", act=act())) == ["programme-not-on-machine"]
    assert refused(lambda: ask(programme="NONE", act=act())) == ["unknown-code"]
    assert refused(lambda: ask(machine="M0000000", act=act())) == ["unknown-code"]
    assert refused(lambda: actions.split_load("L0000000", (pack.code,), act=act())) == ["unknown-code"]
    assert refused(lambda: ask(act=act(makers.person(Role.NURSE)))) == ["right-missing"]
    make.running(load)
    assert refused(lambda: ask(act=act())) == ["wrong-state"]


@pytest.mark.storage
@db
def test_nothing_moves_into_a_load_without_room_or_a_programme_not_validated_for_it() -> None:
    load, packs = building(2)
    full, _ = building(1, capacity=2)
    assert refused(lambda: actions.merge_loads(load.code, full.code, act=act())) == ["load-full"]
    strange = makers.programme("S121", set_c=121.0)
    other = make.load(make.machine(programmes=[strange]), programme="S121")
    merge = partial(actions.merge_loads, load.code, other.code, act=act())
    assert set(refused(merge)) == {"programme-not-validated"}
    assert inside(load) == {pack.code for pack in packs}
    assert not load.lines.filter(verb="merge_loads").exists()


@db
def test_what_is_not_merged() -> None:
    load, _ = building(1)
    other, _ = building(1)
    merge = partial(actions.merge_loads, load.code)
    assert refused(lambda: merge(load.code, act=act())) == ["same-load"]
    assert refused(lambda: merge("L0000000", act=act())) == ["unknown-code"]
    test = make.load(make.machine(), kind=LoadKind.TEST)
    assert refused(lambda: merge(test.code, act=act())) == ["load-of-another-kind"]
    washing = make.washing()
    assert "machine-of-another-kind" in refused(lambda: merge(washing.code, act=act()))
    empty = make.load(make.machine())
    assert refused(lambda: actions.merge_loads(empty.code, other.code, act=act())) == ["load-empty"]
    actions.place_indicator(load.code, "chemical", "7", act=act())
    assert refused(lambda: merge(other.code, act=act())) == ["evidence-entered"]
    make.running(other)
    assert "wrong-state" in refused(lambda: merge(other.code, act=act()))


@race
def test_2_a_load_is_merged_into_one_of_eight() -> None:
    load, packs = building(2)
    targets = [make.load(make.machine(tested=False)) for _ in range(WRITERS)]
    one_of(at_once(*(lambda row=row: actions.merge_loads(load.code, row.code, act=act()) for row in targets)))
    for pack in packs:
        assert LoadPack.objects.filter(pack=pack, open=True).count() == 1
    assert sorted(len(inside(row)) for row in targets) == [0] * (WRITERS - 1) + [2]


@race
def test_2_a_piece_is_split_off_once() -> None:
    washer, pieces = make.washer(tested=False), [makers.piece(state=PieceState.RETURNED) for _ in range(2)]
    load = make.load(washer, *pieces)
    code = (pieces[0].code,)
    one_of(at_once(*(lambda: actions.split_load(load.code, code, act=act()) for _ in range(WRITERS))))
    assert LoadPiece.objects.filter(piece=pieces[0], open=True).count() == 1


@db
def test_a_load_is_split_and_merged_on_its_page() -> None:
    browser, (load, packs) = Browser(make.technician()), building(2)
    assert "Split, or merge into another load" in browser.read(page(load))
    said = {"things": [packs[0].code], "machine": load.machine.code}
    text = browser.send(page(load) + "split/", **said)
    made = Load.objects.exclude(pk=load.pk).get()
    assert f"{made.code} is open on {load.machine.name} with 1 pack of {load.code}" in text
    assert "must be stated" in browser.send(page(load) + "merge/", into="")
    assert "is none of the answers" in browser.send(page(load) + "merge/", into="L0000000")
    text = browser.send(page(load) + "merge/", into=made.code)
    assert f"1 pack of {load.code} went into {made.code}" in text
    assert inside(made) == {pack.code for pack in packs}
