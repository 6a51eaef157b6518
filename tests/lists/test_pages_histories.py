"""Pages of pieces and packs: everything before and after them, and the trail in words."""

from __future__ import annotations

import pytest
from django.urls import reverse

from instruments import actions as instrument_actions
from instruments.models import Piece
from instruments.states import PIECE_MOVES, PieceState
from journal.roles import Role
from lists import actions
from lists.states import CASE_MOVES
from lists.trail import DONE, facts_of
from reprocessing.models import Load
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import queries_of, signed_in
from tests.makers import act
from tests.reprocessing import makers as make
from trays.models import Pack, Tray
from trays.states import PACK_MOVES, Paper

pytestmark = pytest.mark.django_db


def packed_again(tray: Tray, piece: Piece) -> Pack:
    """The piece is washed in a load, packed on the tray, sterilised, used, and counted."""
    make.released(make.load(make.washer(), piece))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=m.NOON))
    pack = m.returned(m.sterile(makers.pack(makers.lay(tray, piece, at=m.NOON), at=m.NOON)))
    actions.count_piece(piece.code, act=act(at=m.NOON))
    return pack


def test_a_piece_shows_a_line_for_each_pack_with_its_loads_and_its_case() -> None:
    part = makers.part()
    tray, piece = makers.tray(makers.template(part)), makers.piece(part, state=PieceState.RETURNED)
    pack = packed_again(tray, piece)
    packed_again(tray, piece)
    address = reverse("piece", args=[piece.code])
    client = signed_in(Role.QUALITY)
    page = client.read(address)
    loads = {load.code for load in Load.objects.all()}
    assert len(loads) == 4
    assert all(code in page for code in {pack.code, m.case_of(pack).code, *loads})
    assert f"Taken back , now returned · pack {pack.code} · case {m.case_of(pack).code} · Everybody" in page
    assert "None" not in page
    few = queries_of(client, address)
    for _ in range(4):
        packed_again(tray, piece)
    assert queries_of(client, address) == few
    assert "earlier lines" in client.read(address)


def test_a_piece_says_what_forbids_packing_it_until_it_is_withdrawn() -> None:
    piece = makers.piece(makers.part(life_limit=50), state=PieceState.RETURNED)
    Piece.objects.filter(pk=piece.pk).update(cycles=50)
    address, words = reverse("piece", args=[piece.code]), "it has seen 50 cycles, must be under 50."
    client = signed_in(Role.NURSE)
    assert words in client.read(address)
    makers.move(piece, "withdraw", reason="worn")
    assert words not in client.read(address)


def test_a_pack_shows_what_it_went_through() -> None:
    part = makers.part()
    pack = packed_again(makers.tray(makers.template(part)), makers.piece(part, state=PieceState.RETURNED))
    client, address = signed_in(Role.TECHNICIAN), reverse("pack", args=[pack.code])
    page = client.read(address)
    assert "1 piece, as packed" in page
    assert f"Issued · case {m.case_of(pack).code} · barrier intact" in page
    assert "nothing missing" in page
    assert "Nothing to do here in this state." in page


def test_a_pack_of_a_maker_misses_no_wash_and_no_load() -> None:
    page = signed_in(Role.NURSE).read(reverse("pack", args=[makers.maker_pack().code]))
    assert "sterile from its maker" in page
    assert "Washed in" not in page
    assert "Sterilised in" not in page


def test_a_pack_asks_as_often_for_eight_pieces_as_for_two() -> None:
    client = signed_in(Role.NURSE)
    small, large = m.sterile(makers.pack(m.one_line(2))), m.sterile(makers.pack(m.one_line(8)))
    assert queries_of(client, reverse("pack", args=[small.code])) == queries_of(
        client, reverse("pack", args=[large.code])
    )


def test_what_is_not_allowed_with_a_pack_says_why() -> None:
    pack = m.sterile()
    page = signed_in().read(reverse("pack", args=[pack.code]))
    assert "does not hold the right" in page


# The trail in words


@pytest.mark.parametrize("verb", sorted({*PIECE_MOVES, *PACK_MOVES, *CASE_MOVES, *(paper.verb for paper in Paper)}))
def test_every_verb_of_a_trail_has_its_words(verb: str) -> None:
    assert verb in DONE


def test_a_line_tells_what_it_knows_and_nothing_of_the_patient() -> None:
    evidence = {
        "requirement": 4711,
        "chosen": "T1",
        "instead_of": None,
        "patient_ref": ["PSEUDONYM-1", "PSEUDONYM-2"],
        "starts_at": ["2026-11-24 07:00:00+00:00", "2026-11-24 08:00:00+00:00"],
        "planned_size": ["", "8.0"],
        "missing": [],
        "unused": False,
        "load": "L1",
        "odd_key": True,
    }
    told = [f"{fact.words} {fact.code}".strip() for fact in facts_of(evidence)]
    assert told == [
        "T1",
        "patient reference recorded",
        "start Tue 24-Nov-2026 09:00, before Tue 24-Nov-2026 08:00",
        "planned size 8.0, before none",
        "nothing missing",
        "load L1",
        "odd key yes",
    ]
