"""An emergency at a theatre's station: three scans, and what is refused on the way."""

from __future__ import annotations

import pytest

from journal.models import Place
from lists.models import Case, Issue, StandingSet
from tests import makers
from tests.lists import makers as theatre
from tests.station.desk import Clock, Station
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db


def standing() -> Pack:
    pack = theatre.sterile()
    StandingSet.objects.create(template=theatre.tray_of(pack).template, minimum=1)
    return pack


def room() -> str:
    code = str(theatre.theatre().code)
    Place.objects.create(code=code, name="Theatre 1")
    return code


def test_three_scans_issue_a_standing_set_to_a_case_made_on_the_fly(clock: Clock) -> None:
    pack, station = standing(), Station("emergency", clock)
    code = room()
    assert station.scan(code)["what"] == "Emergency in Theatre 1."
    assert pack.code in station.shown.items[0].fact
    assert station.scan(theatre.tray_of(pack).code)["asks"]
    assert not Case.objects.exists()
    answer = station.scan(pack.code)
    case = Case.objects.get()
    assert answer["what"].endswith(f"is issued to emergency case {case.code} in Theatre 1.")
    assert (Issue.objects.get().case, station.held, station.shown.items) == (case, {}, ())


def test_the_button_issues_it_too_and_a_torn_barrier_is_quarantined(clock: Clock) -> None:
    torn, whole, station = standing(), standing(), Station("emergency", clock)
    station.scan(room())
    station.scan(torn.code)
    assert station.press("damaged")["next_step"] == "Take another set."
    assert Pack.objects.get(pk=torn.pk).state == PackState.QUARANTINED
    station.scan(whole.code)
    assert station.press("issue")["result"] == "taken"
    assert Issue.objects.get().pack == whole


def test_the_theatre_comes_first_and_must_be_one(clock: Clock) -> None:
    pack, station = standing(), Station("emergency", clock)
    assert "no theatre is chosen here" in station.scan(pack.code)["what"]
    shelf = makers.place("Shelf 1")
    assert "it is no theatre, must be one" in station.scan(shelf.code)["what"]
    station.scan(room())
    Pack.objects.update(state="quarantined")
    assert station.scan(pack.code)["result"] == "stop"
    assert not Case.objects.exists()
