"""The quarantine box: filled before the washer, sealed, and never 7: nothing leaves it without its decision."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from instruments import actions as instrument_actions
from instruments.actions import destroy_box, open_box, put_in_box, rule_out_box, seal_box
from instruments.box_states import BoxState, stays_in_box
from instruments.models import BoxedPiece, BoxLine, Piece, QuarantineBox
from instruments.states import PieceState
from journal.findings import Refused
from journal.roles import Role
from lists import actions as list_actions
from reprocessing import actions as load_actions
from tests import makers
from tests.lists.makers import case as a_case
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import one_of, race, refused
from tests.reprocessing.pages import PASSWORD, Browser
from trays import actions as tray_actions
from trays.actions import put_pack_in_box
from trays.models import Pack, PackLine

RETURNED = PieceState.RETURNED


def box(**said: Any) -> str:
    return open_box("L-0007", **{"ground": "suspected, see the notes", "act": act(), **said}).mark


def boxed(*, sealed: bool = True) -> tuple[str, str]:
    """Codes of a box and of the piece in it."""
    code, piece = box(), makers.piece(state=RETURNED).code
    put_in_box(code, piece, act=act())
    if sealed:
        seal_box(code, act=act())
    return code, piece


def returned_pack() -> Pack:
    """A pack of two pieces whose count is closed."""
    pack = makers.pack()
    make.released(make.load(None, pack))
    on = a_case()
    list_actions.issue(pack.code, on.code, barrier_intact=True, act=act(at=make.DECIDED))
    list_actions.open_pack(pack.code, on.code, act=act(at=make.DECIDED))
    list_actions.take_back(pack.code, act=act(at=make.DECIDED))
    for code in pack.contents.values_list("piece__code", flat=True):
        list_actions.count_piece(code, act=act(at=make.DECIDED))
    return Pack.objects.get(pk=pack.pk)


@pytest.mark.django_db
def test_ruled_out_everything_is_returned() -> None:
    code, piece = boxed()
    done = rule_out_box(code, reason="biopsy: another diagnosis", act=act())
    assert (done.state, Piece.objects.get(code=piece).state) == (BoxState.RULED_OUT, RETURNED)
    row = QuarantineBox.objects.get()
    assert (row.decision, row.decided_by) == ("biopsy: another diagnosis", act().by)
    assert [line.verb for line in BoxLine.objects.all()] == ["open_box", "put_in_box", "seal", "rule_out"]
    again = box()
    put_in_box(again, piece, act=act())
    assert str(BoxedPiece.objects.last()) == f"{piece} in {again}"


@pytest.mark.django_db
def test_confirmed_or_unresolved_everything_is_destroyed_by_record() -> None:
    code, piece = boxed()
    destroy_box(code, reason="unresolved after a year", act=act())
    assert Piece.objects.get(code=piece).state == PieceState.WITHDRAWN
    last = Piece.objects.get(code=piece).lines.last()
    assert last is not None
    assert last.evidence == {"box": code}


@pytest.mark.django_db
def test_one_that_was_quarantined_alone_goes_in_and_takes_the_place_of_the_box() -> None:
    place = makers.place()
    code = box(place=place.code)
    alone, other = makers.piece(state=RETURNED), makers.piece(state=RETURNED)
    instrument_actions.quarantine_piece(alone.code, reason="suspected", act=act())
    for piece in (alone, other):
        put_in_box(code, piece.code, act=act())
        piece.refresh_from_db()
        assert (piece.state, piece.place) == (PieceState.QUARANTINED, place)


LEAVES: dict[str, Callable[[str], object]] = {
    "clear": lambda piece: instrument_actions.clear_piece(piece, reason="looks fine", act=act()),
    "destroy": lambda piece: instrument_actions.destroy_piece(piece, reason="to be sure", act=act()),
    "find": lambda piece: instrument_actions.find(piece, act=act()),
    "inspect": lambda piece: instrument_actions.inspect(piece, clean=True, act=act()),
    "lend": lambda piece: tray_actions.put_on_tray(piece, makers.tray().code, act=act()),
    "miss": lambda piece: instrument_actions.miss(piece, reason="gone", act=act()),
    "pack": lambda piece: tray_actions.pack_single(piece, act=act()),
    "repair": lambda piece: instrument_actions.send_to_repair(piece, reason="bent", act=act()),
    "wash": lambda piece: load_actions.add_piece(make.load(make.washer()).code, piece, act=act()),
    "withdraw": lambda piece: instrument_actions.withdraw(piece, reason="old", act=act()),
}


@pytest.mark.storage
@pytest.mark.django_db
@pytest.mark.parametrize("sealed", [False, True])
@pytest.mark.parametrize("name", sorted(LEAVES))
def test_never_7_nothing_leaves_the_box_without_its_decision(name: str, *, sealed: bool) -> None:
    _, piece = boxed(sealed=sealed)
    with pytest.raises(Refused):
        LEAVES[name](piece)
    assert Piece.objects.get(code=piece).state == PieceState.QUARANTINED
    assert BoxedPiece.objects.get().inside


@race
def test_never_7_a_piece_goes_into_the_box_or_into_the_washer() -> None:
    code, piece = box(), makers.piece(state=RETURNED).code
    washer = make.load(make.washer()).code
    who = act()
    results = at_once(
        *[partial(put_in_box, code, piece, act=who)] * 4,
        *[partial(load_actions.add_piece, washer, piece, act=who)] * 4,
    )
    one_of(results)
    inside = BoxedPiece.objects.filter(inside=True).exists()
    assert Piece.objects.get().state == (PieceState.QUARANTINED if inside else PieceState.IN_WASHER)


@race
def test_never_7_a_box_is_decided_on_once() -> None:
    code, piece = boxed()
    who = act()
    results = at_once(
        partial(rule_out_box, code, reason="ruled out", act=who),
        partial(destroy_box, code, reason="confirmed", act=who),
    )
    one_of(results)
    state = QuarantineBox.objects.get().state
    assert Piece.objects.get(code=piece).state == (RETURNED if state == BoxState.RULED_OUT else PieceState.WITHDRAWN)


@pytest.mark.django_db
def test_what_is_refused() -> None:
    nobody = act(makers.person())
    code, piece = boxed(sealed=False)
    assert refused(lambda: open_box(" ", ground="suspected", act=act())) == ["reference-unfit"]
    assert refused(lambda: open_box("L" * 41, ground="suspected", act=act())) == ["reference-unfit"]
    assert refused(lambda: open_box("L-1", ground=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: open_box("L-1", ground="suspected", place="NOWHERE", act=act())) == ["unknown-code"]
    assert refused(lambda: open_box("L-1", ground="suspected", act=nobody)) == ["right-missing"]
    assert refused(lambda: put_in_box("H0", piece, act=act())) == ["unknown-code"]
    assert refused(lambda: put_in_box(code, piece, act=act())) == ["in-quarantine-box"]
    assert refused(lambda: put_in_box(box(), piece, act=nobody)) == ["right-missing"]
    assert refused(lambda: seal_box(box(), act=act())) == ["box-empty"]
    assert refused(lambda: rule_out_box(code, reason="ruled out", act=act())) == ["wrong-state"]
    seal_box(code, act=act())
    assert refused(lambda: put_in_box(code, makers.piece(state=RETURNED).code, act=act())) == ["wrong-state"]
    assert refused(lambda: destroy_box(code, reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: destroy_box(code, reason="a", act=act(makers.person(Role.NURSE)))) == ["right-missing"]
    assert not list(stays_in_box("clear", "P1", None))


@pytest.mark.django_db
def test_a_whole_returned_pack_goes_in_and_what_is_elsewhere_is_named() -> None:
    pack = returned_pack()
    first = pack.contents.first().piece  # type: ignore[union-attr]
    code = box()
    inside = put_pack_in_box(code, pack.code, act=act())
    assert inside.findings == ()
    assert [line.verb for line in first.lines.all()][-1] == "quarantine"
    assert PackLine.objects.filter(verb="put_in_box").count() == 1
    assert refused(lambda: put_pack_in_box(code, pack.code, act=act())) == ["nothing-returned"]
    assert refused(lambda: put_pack_in_box(code, makers.pack().code, act=act())) == ["wrong-state"]


CONSTRAINTS: dict[str, dict[str, Any]] = {
    "box_state_known": {"state": "lost", "sealed_at": AT},
    "box_has_case_and_ground": {"reference": ""},
    "box_sealed_when": {"state": "sealed"},
    "box_decided_by_name": {"state": "destroyed", "sealed_at": AT, "decided_at": AT, "decision": "confirmed"},
}


@pytest.mark.storage
@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(CONSTRAINTS))
def test_the_database_refuses(name: str) -> None:
    code = box()
    also = "|box_decided_by_name" if name == "box_state_known" else ""  # an unknown state breaks both
    with pytest.raises(IntegrityError, match=name + also), transaction.atomic():
        QuarantineBox.objects.filter(code=code).update(**CONSTRAINTS[name])


@pytest.mark.storage
@pytest.mark.django_db
@pytest.mark.parametrize("same", [True, False])
def test_the_database_holds_a_piece_in_one_box(*, same: bool) -> None:
    code, piece = boxed()
    where = QuarantineBox.objects.get(code=code if same else box())
    with pytest.raises(IntegrityError), transaction.atomic():
        BoxedPiece.objects.create(box=where, piece=Piece.objects.get(code=piece), inside=not same)


@pytest.mark.django_db
def test_the_pages() -> None:
    piece = makers.piece(state=RETURNED)
    pack = returned_pack()
    nurse, lead = Browser(makers.person(Role.NURSE)), Browser(makers.person(Role.QUALITY))
    assert "Tuberculosis and other ordinary infections are not this path" in nurse.read("/boxes/")
    nurse.send("/boxes/", reference="L-0007", ground="suspected", place="")
    row = QuarantineBox.objects.get()
    address = reverse("box", args=[row.code])
    assert "holds no piece" in nurse.send(f"{address}seal/")
    nurse.send(f"{address}put/", thing=f" {piece.code.lower()} ")
    nurse.send(f"{address}put/", thing=pack.tray.code if pack.tray else pack.code)
    assert row.boxed.count() == 1 + pack.contents.count()
    nurse.send(f"{address}seal/")
    assert "your sign-in does not hold the right" in nurse.read(address)
    assert nurse.client.get(f"{address}label.pdf").content.startswith(b"%PDF")
    assert "the password does not match" in lead.send(f"{address}rule-out/", reason="ruled out", password="no")
    assert "ruled out: 2 pieces are returned" in lead.send(f"{address}rule-out/", reason="biopsy", password=PASSWORD)
    assert "biopsy" in lead.read("/boxes/") or "Decided" in lead.read("/boxes/")
    assert lead.client.post(f"{address}open/").status_code == 404
