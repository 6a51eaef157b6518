"""Building, starting and unloading: what each verb does, and each refusal."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError

from instruments.actions import inspect
from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.actions import Act
from reprocessing import actions, states
from reprocessing.models import Load, LoadPack, LoadPiece
from reprocessing.reads import sets_in
from reprocessing.reads.soil import soil_of
from reprocessing.states import LoadState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from trays import actions as tray_actions
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db


def returned() -> Piece:
    return makers.piece(state=PieceState.RETURNED)


def ended_set(pieces: int = 3, **fields: Any) -> Pack:
    """A pack that ended, its pieces returned."""
    tray = makers.tray(makers.template(makers.line(makers.part(**fields), pieces)))
    load = make.running(make.load(None, makers.pack(tray)))
    pack = Pack.objects.get(load_packs__load=load)
    actions.reject(load.code, reason="aborted", soiled=(pack.code,), act=act())
    return Pack.objects.get(pk=pack.pk)


# Opening


def test_a_load_is_opened() -> None:
    machine = make.machine()
    done = actions.open_load(machine.code, "S134", act=act(make.technician()))
    load = Load.objects.get(code=done.mark)
    assert (load.state, load.kind, load.built_at) == (LoadState.BUILDING, "routine", AT)
    line = load.lines.get()
    assert (line.verb, line.target, line.evidence["programme"]) == ("open_load", LoadState.BUILDING, "S134")


def test_the_empty_load_of_a_machine_is_taken_up_again_with_another_programme() -> None:
    other = makers.programme("S121", set_c=121.0)
    machine = make.machine(programmes=[other])
    first = make.load(machine)
    assert actions.open_load(machine.code, "S121", act=act()).mark == first.code
    first.refresh_from_db()
    assert first.programme == other
    actions.add_pack(first.code, validated_pack(other).code, act=act())
    assert actions.open_load(machine.code, "S134", act=act()).mark != first.code


def validated_pack(programme: Any) -> Pack:
    wash = makers.programme("W90", kind="wash")
    return makers.single(makers.piece(makers.part(programmes=[wash, programme])))


def test_a_test_load_does_not_take_up_a_routine_one() -> None:
    machine = make.machine()
    assert make.load(machine).code != make.load(machine, kind=states.LoadKind.TEST).code


@pytest.mark.parametrize(
    ("machine", "programme", "slug"),
    [("M-NONE", "S134", "unknown-code"), ("", "NONE", "unknown-code"), ("", "S121", "programme-not-on-machine")],
)
def test_no_load_without_machine_and_programme(machine: str, programme: str, slug: str) -> None:
    makers.programme("S121", set_c=121.0)
    code = machine or make.machine().code
    assert refused(lambda: actions.open_load(code, programme, act=act())) == [slug]


@pytest.mark.parametrize("washes", [True, False])
def test_no_load_without_the_right(*, washes: bool) -> None:
    machine = make.washer() if washes else make.machine()
    programme = "W90" if washes else "S134"
    assert refused(lambda: actions.open_load(machine.code, programme, act=act(makers.person()))) == ["right-missing"]


# What goes into a steriliser, and off it


def test_a_pack_goes_in_and_comes_off_and_goes_in_again() -> None:
    load, pack = make.load(), makers.pack()
    assert actions.add_pack(load.code, pack.code, act=act()).state == LoadState.BUILDING
    pack.refresh_from_db()
    assert pack.state == PackState.IN_STERILISER
    actions.take_off_load(load.code, pack.code, act=act())
    pack.refresh_from_db()
    assert pack.state == PackState.ASSEMBLED
    assert not LoadPack.objects.exists()
    actions.add_pack(load.code, pack.code, act=act())
    assert [line.verb for line in load.lines.all()] == ["open_load", "add_pack", "take_off_load", "add_pack"]


def test_a_load_holds_what_its_machine_has_room_for() -> None:
    load = make.load(make.machine(capacity=1), makers.pack())
    pack = makers.pack()
    assert refused(lambda: actions.add_pack(load.code, pack.code, act=act())) == ["load-full"]


def test_what_does_not_go_into_a_steriliser_load() -> None:
    load, pack = make.load(), makers.pack()
    sterile = makers.maker_pack(makers.part(single_use=True))
    assert "wrong-state" in refused(lambda: actions.add_pack(load.code, sterile.code, act=act()))
    assert refused(lambda: actions.add_pack(load.code, "K-NONE", act=act())) == ["unknown-code"]
    assert refused(lambda: actions.add_pack("L-NONE", pack.code, act=act())) == ["unknown-code"]
    wash = make.load(make.washer())
    assert "washer-takes-pieces" in refused(lambda: actions.add_pack(wash.code, pack.code, act=act()))
    piece = returned()
    assert "steriliser-takes-packs" in refused(lambda: actions.add_piece(load.code, piece.code, act=act()))


def test_a_running_load_takes_and_gives_nothing() -> None:
    load = make.running()
    inside, other = Pack.objects.get(load_packs__load=load), makers.pack()
    assert refused(lambda: actions.add_pack(load.code, other.code, act=act())) == ["wrong-state"]
    assert refused(lambda: actions.take_off_load(load.code, inside.code, act=act())) == ["wrong-state"]


def test_a_pack_is_taken_off_its_own_load_only() -> None:
    first, second, pack = make.load(), make.load(), makers.pack()
    actions.add_pack(first.code, pack.code, act=act())
    assert refused(lambda: actions.take_off_load(second.code, pack.code, act=act())) == ["not-in-load"]


def test_immediate_use_items_go_into_immediate_use_programmes_only() -> None:
    make.policy("immediate_use", value=True)
    quick = makers.programme("IMM", immediate=True)
    part = makers.part(programmes=[makers.programme("W90", kind="wash"), makers.programme(), quick])
    machine = make.machine(programmes=[quick])
    usual, unwrapped = make.load(make.machine()), make.load(machine, programme="IMM")
    item = make.immediate(part)
    wrapped = makers.single(makers.piece(part))
    assert refused(lambda: actions.add_pack(usual.code, item.code, act=act())) == ["immediate-use-apart"]
    assert refused(lambda: actions.add_pack(unwrapped.code, wrapped.code, act=act())) == ["immediate-use-apart"]
    assert actions.add_pack(unwrapped.code, item.code, act=act()).verb == "add_pack"


# What goes into a washer, and out of it


def test_a_piece_goes_into_a_washer_and_comes_out() -> None:
    load = make.load(make.washer())
    piece = makers.piece(makers.part(take_apart="base into its parts"), state=PieceState.RETURNED)
    assert actions.add_piece(load.code, piece.code, act=act()).next_step == "base into its parts"
    piece.refresh_from_db()
    assert piece.state == PieceState.IN_WASHER
    actions.take_out_of_load(load.code, piece.code, act=act())
    piece.refresh_from_db()
    assert piece.state == PieceState.RETURNED
    assert not LoadPiece.objects.exists()


def test_a_piece_is_taken_out_of_its_own_load_only() -> None:
    piece = returned()
    make.load(make.washer(), piece)
    other = make.load(make.washer())
    assert refused(lambda: actions.take_out_of_load(other.code, piece.code, act=act())) == ["not-in-load"]


def test_loose_pieces_share_one_basket() -> None:
    load = make.load(make.washer(capacity=1), returned(), returned())
    assert sets_in(load) == 1
    pack = ended_set()
    assert refused(lambda: actions.add_returned_set(load.code, pack.code, act=act())) == ["load-full"]


def test_a_returned_set_takes_room_for_one() -> None:
    load, pack = make.load(make.washer(capacity=2)), ended_set(take_apart="base into its parts")
    done = actions.add_returned_set(load.code, pack.code, act=act())
    assert done.next_step == "base into its parts"
    assert sets_in(load) == 1
    assert LoadPiece.objects.filter(load=load, came_with=pack).count() == 3
    actions.add_piece(load.code, returned().code, act=act())
    assert sets_in(load) == 2
    piece = returned()
    actions.add_piece(load.code, piece.code, act=act())
    other = ended_set()
    assert refused(lambda: actions.add_returned_set(load.code, other.code, act=act())) == ["load-full"]


def test_a_returned_set_is_named_by_its_tray_too() -> None:
    load, pack = make.load(make.washer()), ended_set()
    assert pack.tray is not None
    actions.add_returned_set(load.code, pack.tray.code, act=act())
    assert LoadPiece.objects.filter(load=load, came_with=pack).count() == 3


def test_pieces_that_were_packed_again_are_not_of_the_old_set() -> None:
    pack = ended_set()
    piece = Piece.objects.filter(contents__pack=pack).first()
    assert piece is not None
    later = makers.single(makers.process(piece))
    tray_actions.quarantine_pack(later.code, reason="dropped", act=act())
    tray_actions.condemn_pack(later.code, reason="dropped", act=act())
    load = make.load(make.washer())
    actions.add_returned_set(load.code, pack.code, act=act())
    assert LoadPiece.objects.filter(load=load).count() == 2


@pytest.mark.parametrize(("code", "slugs"), [("K-NONE", ["unknown-code"]), ("", ["nothing-returned"])])
def test_a_set_that_has_not_come_back_is_not_washed(code: str, slugs: list[str]) -> None:
    load = make.load(make.washer())
    pack = makers.pack()
    assert refused(lambda: actions.add_returned_set(load.code, code or pack.code, act=act())) == slugs


def test_a_set_with_a_part_not_validated_for_the_wash_stays_out_whole() -> None:
    pack = ended_set()
    Piece.objects.filter(contents__pack=pack).first().part.validations.filter(programme__code="W90").delete()  # type: ignore[union-attr]
    load = make.load(make.washer())
    slugs = refused(lambda: actions.add_returned_set(load.code, pack.code, act=act()))
    assert set(slugs) == {"programme-not-validated"}
    assert not LoadPiece.objects.exists()


# Starting


def test_a_load_starts() -> None:
    load = make.load(None, makers.pack())
    actions.start_load(load.code, cycle_number=" 1042 ", caps_open=True, act=act())
    load.refresh_from_db()
    assert (load.state, load.cycle_number, load.caps_open, load.started_at) == (LoadState.RUNNING, "1042", True, AT)


@pytest.mark.parametrize(
    ("filled", "caps_open", "slug"), [(False, True, "load-empty"), (True, False, "caps-not-open")]
)
def test_a_load_does_not_start_empty_or_with_caps_on(*, filled: bool, caps_open: bool, slug: str) -> None:
    load = make.load(None, *([makers.pack()] if filled else []))
    assert refused(lambda: actions.start_load(load.code, caps_open=caps_open, act=act())) == [slug]


def used(*, back_at: datetime) -> Piece:
    """A piece counted back from its use at a moment."""
    piece = makers.piece(at=back_at - timedelta(hours=2))
    for verb in ("pack", "use", "take_back"):
        makers.move(piece, verb, at=back_at)
    piece.refresh_from_db()
    return piece


@pytest.mark.parametrize(("minutes", "slugs"), [(60, []), (61, ["waited-too-long"])])
def test_a_wash_keeps_how_long_its_pieces_waited_and_says_when_it_was_too_long(minutes: int, slugs: list[str]) -> None:
    first, second = used(back_at=AT - timedelta(minutes=minutes)), used(back_at=AT - timedelta(minutes=5))
    load = make.load(make.washer(), second, first, returned())
    done = actions.start_load(load.code, caps_open=True, act=act())
    assert [finding["slug"] for finding in done.findings] == slugs
    line = load.lines.get(verb="start")
    assert line.evidence["soil"] == f"{minutes} min since the return of {first.code}; the unit allows 60 min"
    load.refresh_from_db()
    wait = soil_of(load, AT + timedelta(hours=5))
    assert wait is not None
    assert (wait.piece, wait.waited_min) == (first.code, minutes)  # the start ends the wait


def test_a_wait_ends_with_the_wash_and_does_not_count_for_the_next_one() -> None:
    piece = used(back_at=AT - timedelta(hours=3))
    washed = make.released(make.load(make.washer(), piece))
    assert soil_of(washed, AT) is not None
    inspect(piece.code, clean=False, act=act(at=make.DECIDED))
    again = make.load(make.washer(), Piece.objects.get(pk=piece.pk))
    assert soil_of(again, make.DECIDED) is None


def test_a_load_that_nobody_opened_does_not_start() -> None:
    assert refused(lambda: actions.start_load("L-NONE", caps_open=True, act=act())) == ["unknown-code"]


# A trail line that fails takes everything with it.


def broken(row: Act) -> Act:
    """An act whose line no database takes: nobody did it by any method."""
    return Act(by=row.by, at=row.at, method=None)  # type: ignore[arg-type]


@pytest.mark.parametrize("verb", ["add_pack", "take_off_load", "start_load"])
def test_a_line_that_fails_leaves_nothing_written(verb: str) -> None:
    load, pack = make.load(), makers.pack()
    if verb != "add_pack":
        actions.add_pack(load.code, pack.code, act=act())
    more = {"start_load": {"caps_open": True}}.get(verb, {})
    args = (load.code,) if verb == "start_load" else (load.code, pack.code)
    before = _everything(load, pack)
    with pytest.raises(IntegrityError):
        getattr(actions, verb)(*args, **more, act=broken(act()))
    assert _everything(load, pack) == before


def _everything(load: Load, pack: Pack) -> list[object]:
    load.refresh_from_db()
    pack.refresh_from_db()
    return [load.state, load.started_at, pack.state, load.lines.count(), pack.lines.count(), load.load_packs.count(),
            PieceLine.objects.count()]  # fmt: skip
