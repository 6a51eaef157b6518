"""The scanner card at a station: what is recorded of it, what is shown, and what a station refuses without it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from instruments.actions import check_scanner
from instruments.carriers import GS
from instruments.models import Piece
from instruments.scanner_check import SENT
from instruments.states import PieceState
from journal.doors import STATION
from journal.models import Place, PolicySetting, ScannerCheck
from journal.models import Station as Workplace
from tests import makers
from tests.makers import act
from tests.station.desk import Clock, Station

pytestmark = pytest.mark.django_db

MARK = "0109504000059118" + "21A1"  # a GTIN of GS1's examples with a serial of our own


def workplace() -> Workplace:
    place = Place.objects.create(code="R2", name="Return")
    return Workplace.objects.create(name="Returns R2", place=place)


def seated(client: Client, station: Workplace) -> Client:
    session = client.session
    session[STATION] = station.pk
    session.save()
    return client


def at_bench(clock: Clock) -> tuple[Station, Workplace, Piece]:
    """Somebody at a station of the inspection bench, and a cleaned piece with a maker's mark."""
    piece = makers.piece(makers.part(name="Forceps"), state=PieceState.CLEANED, marks=(MARK,))
    here = workplace()
    station = Station("inspect", clock)
    seated(station.client, here)
    return station, here, piece


def test_a_station_that_has_not_passed_takes_no_serial(clock: Clock) -> None:
    station, here, piece = at_bench(clock)
    answer = station.scan(MARK)
    assert answer["result"] == "stop"
    assert (
        answer["what"] == f"Cannot take {MARK}: the scanner of Returns R2 is not checked, must have passed the card."
    )
    assert answer["next_step"] == "Scan the scanner card first, or the unit's own code."
    assert station.scan(piece.code)["result"] == "look"
    check_scanner(here.name, SENT, act=act(at=clock.at))
    assert station.scan(MARK)["mark"] == piece.code


def test_a_check_counts_for_a_day_and_the_last_one_counts(clock: Clock) -> None:
    station, here, _ = at_bench(clock)
    check_scanner(here.name, SENT, act=act(at=clock.at - timedelta(hours=25)))
    assert station.scan(MARK)["result"] == "stop"
    check_scanner(here.name, SENT, act=act(at=clock.at))
    assert station.scan(MARK)["result"] == "look"
    check_scanner(here.name, SENT.replace(GS, ""), act=act(at=clock.at))
    assert station.scan(MARK)["result"] == "stop"


def test_without_a_station_or_by_policy_every_mark_is_taken(clock: Clock) -> None:
    station, _, _ = at_bench(clock)
    PolicySetting.objects.create(name="scanner_checked", value=False, reason="local")
    assert station.scan(MARK)["result"] == "look"
    PolicySetting.objects.all().delete()
    assert Station("inspect", clock).scan(MARK)["result"] == "look"


def checked(client: Client, **fields: object) -> str:
    return client.post("/scan/check/", {"text": SENT, "ended": "enter", **fields}, follow=True).content.decode()


def test_the_page_says_passed_or_what_is_wrong() -> None:
    client = Client()
    client.force_login(makers.person())
    assert "Choose the station first" in client.get("/scan/check/").content.decode()
    assert not ScannerCheck.objects.exists()
    seated(client, workplace())
    assert "Scanner not checked" in client.get("/scan/check/").content.decode()
    page = checked(client, text=SENT.replace(GS, ""), mean_ms="80", longest_ms="90", ended="tab", caps_lock="on")
    for fault in (
        "the separator between two fields is lost",
        "Caps Lock is on",
        "ends with tab",
        "is 80 ms",
        "is 90 ms",
    ):
        assert fault in page
    assert "Scanner not passed" in client.get("/station/").content.decode()
    page = checked(client, mean_ms="3.4", longest_ms="9")
    assert "The scanner of Returns R2 has passed the check." in page
    assert "Scanner checked" in client.get("/station/").content.decode()
    assert "Scanner checked" in client.get("/scan/inspect/").content.decode()
    assert [row.passed for row in ScannerCheck.objects.order_by("id")] == [False, True]


def test_a_check_of_long_ago_is_said_to_be_so() -> None:
    client, here = Client(), workplace()
    client.force_login(makers.person())
    seated(client, here)
    check_scanner(here.name, SENT, act=act())
    assert "Checked too long ago" in client.get("/scan/check/").content.decode()


@pytest.mark.parametrize("fields", [{"text": ""}, {"text": "x" * 201}, {"mean_ms": "-1"}])
def test_no_reading_is_said_and_not_recorded(fields: dict[str, str]) -> None:
    client = Client()
    client.force_login(makers.person())
    seated(client, workplace())
    assert client.post("/scan/check/", {"text": SENT, "ended": "enter"} | fields).status_code == 303
    assert not ScannerCheck.objects.exists()


def test_what_is_no_check_is_refused() -> None:
    here = workplace()
    assert makers.refused(lambda: check_scanner("nowhere", SENT, act=act())) == ["unknown-code"]
    assert makers.refused(lambda: check_scanner(here.name, SENT, ended="escape", act=act())) == ["no-reading"]


@pytest.mark.storage
def test_a_check_is_not_changed_afterwards() -> None:
    here = workplace()
    check_scanner(here.name, f"\x00{SENT}", act=act())
    assert not ScannerCheck.objects.get().passed
    with pytest.raises(IntegrityError), transaction.atomic():
        ScannerCheck.objects.update(passed=True)
