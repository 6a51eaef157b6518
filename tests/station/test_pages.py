"""The pages of the stations, the day, finding and the guide: who may see them, and what they cost."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from config.station.modes import MODES
from instruments.states import PieceState
from journal.actions import Concern, tell
from journal.models import Person
from journal.roles import Role
from lists import actions as list_actions
from tests import makers
from tests.lists import makers as theatre
from tests.lists.makers import NOON
from tests.makers import act
from tests.reprocessing import makers as machines
from tests.station.desk import Clock, Station
from trays.models import TemplateLine

pytestmark = pytest.mark.django_db


def at_work(by: Person | None = None) -> Client:
    client = Client()
    client.force_login(by or makers.everybody())
    return client


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_nobody_sees_a_page_without_signing_in() -> None:
    for address in ("/", "/scan/", "/scan/return/", "/find/?q=K000001S", "/help/"):
        response = Client().get(address)
        assert response.status_code == 302
        assert response.headers["Location"].startswith("/sign-in/?next=")
    assert Client().post("/scan/return/", {"code": "K000001S"}).headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("slug", MODES)
def test_a_station_says_what_it_waits_for(slug: str) -> None:
    page = at_work().get(f"/scan/{slug}/").content.decode()
    assert MODES[slug].waits_for in page
    assert "Look only" not in page
    for sentence in MODES[slug].guide:
        assert sentence in page


def test_work_that_the_unit_does_not_know_has_no_page() -> None:
    assert at_work().get("/scan/polish/").status_code == 404
    assert at_work().post("/scan/return/press/polish/").status_code == 404


@pytest.mark.parametrize("slug", MODES)
def test_a_person_without_the_right_may_look_only(slug: str) -> None:
    page = at_work(makers.person()).get(f"/scan/{slug}/").content.decode()
    assert f"Your sign-in does not hold the right “{MODES[slug].right}”." in page


def test_a_scan_without_the_right_is_refused(clock: Clock) -> None:
    washer = machines.washer(name="Washer 1")
    answer = Station("wash-in", clock, makers.person(Role.NURSE)).scan(washer.code)
    assert answer["what"] == "Cannot open a load of Washer 1: your sign-in does not hold the right “wash”."


def test_a_station_works_as_plain_forms(clock: Clock) -> None:
    pack = theatre.opened()
    client = at_work()
    response = client.post("/scan/return/", {"code": pack.code, "key": "k-1"})
    assert (response.status_code, response.headers["Location"]) == (303, "/scan/return/")
    page = client.get("/scan/return/").content.decode()
    assert f"{pack.name} {pack.code} is back from case {theatre.case_of(pack).code}." in page
    assert 'data-result="taken"' in page
    assert client.post("/scan/return/press/close/").headers["Location"] == "/scan/return/"
    clock.wait(180)
    page = client.get("/scan/return/").content.decode()
    assert MODES["return"].waits_for in page  # an answer is the one of now for two minutes
    assert "is closed: 1 missing" in page


def test_finish_lets_go_of_what_is_carried(clock: Clock) -> None:
    pack = theatre.returned()
    station = Station("return", clock)
    station.scan(pack.code)
    assert station.held == {"pack": pack.code}
    assert station.client.post("/scan/return/next/").status_code == 303
    assert station.held == {}


def more_out() -> None:
    theatre.opened()


def more_returned() -> None:
    pack = theatre.returned()
    list_actions.count_piece(theatre.pieces_of(pack)[0].code, act=act(at=NOON))


def more_loads() -> None:
    machines.running(machines.load(machines.washer(), makers.piece(state=PieceState.RETURNED)))
    machines.running()


def more_cases() -> None:
    theatre.case(makers.template(), in_theatre=f"Theatre {TemplateLine.objects.count()}")


@pytest.mark.parametrize(
    ("slug", "more"),
    [
        ("return", more_out),
        ("wash-in", more_returned),
        ("wash-out", more_loads),
        ("inspect", lambda: makers.piece(state=PieceState.CLEANED)),
        ("assemble", lambda: makers.lay(makers.tray())),
        ("sterilise-in", makers.pack),
        ("sterilise-out", more_loads),
        ("store", theatre.sterile),
        ("issue", more_cases),
        ("open", theatre.issued),
    ],
)
def test_what_is_open_costs_the_same_however_much_it_is(slug: str, more: Callable[[], object], clock: Clock) -> None:
    client = at_work()
    more()
    few = queries(client, f"/scan/{slug}/")
    for _ in range(3):
        more()
    assert queries(client, f"/scan/{slug}/") == few


def test_a_piece_in_hand_costs_the_same_however_many_trays_want_it(clock: Clock) -> None:
    part = makers.part()
    template = makers.template(part)
    makers.tray(template)
    station = Station("assemble", clock)
    station.scan(makers.piece(part).code)
    few = queries(station.client, station.address)
    for _ in range(3):
        makers.tray(template)
    assert queries(station.client, station.address) == few


# The day


def test_the_day_shows_work_queues_and_notices(clock: Clock) -> None:
    nurse = makers.person(Role.NURSE, name="Nurse 1")
    theatre.opened()
    tell("missing", [Concern("missing:P1", Role.NURSE, "P1 is missing.", "Look for it.", "/pieces/P1/")], at=NOON)
    tell("loads", [Concern("load:L1", Role.RELEASER, "L1 waits.")], at=NOON)
    response = at_work(nurse).get("/")
    page = response.content.decode()
    assert [mode.slug for mode in response.context["work"]] == [
        "return", "inspect", "assemble", "store", "issue", "emergency", "open",
    ]  # fmt: skip
    waiting = {queue.label: (queue.waiting, address) for queue, address in response.context["queues"]}
    assert waiting["packs out with a case"] == (1, "/scan/return/")
    assert "P1 is missing." in page
    assert "L1 waits." not in page
    assert "1 case" in page


def test_the_day_costs_the_same_however_much_waits(clock: Clock) -> None:
    client = at_work()
    more_out()
    few = queries(client, "/")
    for _ in range(3):
        more_out()
    assert queries(client, "/") == few


# Finding


def test_a_mark_leads_to_its_page_or_says_why_not() -> None:
    makers.piece(marks=("QM12/3",))
    client = at_work()
    assert "nothing of the unit carries this mark" in client.get("/find/", {"q": "QM99/9"}).content.decode()
    assert "QM12/3" not in client.get("/find/").content.decode()
    place = makers.place("Shelf 1")
    pack = theatre.sterile()
    from trays.actions import store  # noqa: PLC0415

    store(pack.code, place.code, act=act(at=NOON))
    assert pack.code in client.get("/find/", {"q": place.code}).content.decode()


def test_a_text_is_found_in_names_lots_and_serial_numbers() -> None:
    part = makers.part(name="Telescope 5.5 mm")
    piece = makers.piece(part, serial="TE-0007", lot="LOT-77")
    client = at_work()
    for text in ("telescope", "TE-0007", "LOT-77"):
        page = client.get("/find/", {"q": text}).content.decode()
        assert piece.code in page


@pytest.mark.parametrize("text", ["x", "\x01\x02", "%", "' OR 1=1", "A" * 4000])
def test_odd_texts_find_nothing_and_break_nothing(text: str) -> None:
    makers.piece()
    assert at_work().get("/find/", {"q": text}).status_code == 200


def test_finding_costs_the_same_however_much_is_found() -> None:
    client = at_work()
    part = makers.part(name="Telescope")
    makers.piece(part)
    few = queries(client, "/find/?q=telescope")
    for _ in range(4):
        makers.piece(part)
    assert queries(client, "/find/?q=telescope") == few


def test_the_guide_names_every_kind_of_work() -> None:
    page = at_work().get("/help/").content.decode()
    assert all(mode.label in page for mode in MODES.values())
    assert "licensed practitioner" in page
