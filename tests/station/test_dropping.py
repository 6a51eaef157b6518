"""A piece falls in a case: it is scanned with the single pack in its place, and the set comes back short of it."""

from __future__ import annotations

import pytest

from tests import makers
from tests.lists import makers as theatre
from tests.station.desk import Clock, Station
from tests.station.test_work import tray_of
from trays.states import PackState

pytestmark = pytest.mark.django_db


def test_a_piece_that_falls_is_scanned_and_the_single_pack_in_its_place(clock: Clock) -> None:
    pack = theatre.opened(theatre.sterile(tray_of(2)))
    fell, other = theatre.pieces_of(pack)
    single = theatre.sterile(makers.single(makers.piece(fell.part)))
    case = theatre.case_of(pack)
    station = Station("open", clock)
    answer = station.scan(fell.code)
    assert (answer["result"], station.shown.asks) == ("look", f"Was Part 1 {fell.code} dropped, or did it fail?")
    answer = station.press("dropped")
    assert answer["what"] == f"Part 1 {fell.code} was dropped in case {case.code}: Tray A comes back short of it."
    assert [item.fact for item in station.shown.carried] == [f"a single pack for {fell.code}"]
    assert station.scan(single.code)["what"].endswith("look at its barrier.")
    clock.wait(3)
    answer = station.scan(single.code)
    assert answer["what"].endswith(f"{single.code} is open for case {case.code} in place of {fell.code}.")
    station = Station("return", clock)
    assert station.scan(pack.code)["next_step"] == "1 of 2 pieces still to be counted."
    station.scan(other.code)
    assert station.held == {}
    assert station.scan(fell.code)["what"] == f"Part 1 {fell.code} counted."


def test_a_single_pack_in_its_place_that_is_torn_is_held_and_another_is_asked_for(clock: Clock) -> None:
    pack = theatre.opened(theatre.sterile(tray_of(2)))
    fell, _ = theatre.pieces_of(pack)
    torn, whole = (theatre.sterile(makers.single(makers.piece(fell.part))) for _ in range(2))
    station = Station("open", clock)
    station.scan(fell.code)
    station.press("failed", note="jaw does not close")
    station.scan(torn.code)
    assert station.press("damaged")["next_step"] == "Scan another single pack."
    station.scan(whole.code)
    assert f"in place of {fell.code}" in station.press("issue")["what"]
    torn.refresh_from_db()
    assert torn.state == PackState.QUARANTINED
